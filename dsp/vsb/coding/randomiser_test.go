package coding

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestRandomiserEqualsSecondImplementation(t *testing.T) {
	// Truth: a second implementation, GNU Radio's ATSC randomiser.
	packets := vectorPackets()
	r := NewRandomiser()
	for field, want := range vectorSums(t, "randomised") {
		var out []byte
		for i := range FieldPackets {
			var b [PayloadBytes]byte
			r.Apply(&b, (*[PayloadBytes]byte)(packets[(field*FieldPackets+i)*PacketBytes+1:]), i)
			out = append(out, b[:]...)
		}
		requireSum(t, want, out, field)
	}
}

func TestRandomiserSequence(t *testing.T) {
	// Truth: the standard's figure: sixteen registers, loaded with the hexadecimal
	// F180, shifted towards x¹⁶, whose output is added behind the registers
	// of the generator polynomial's powers.
	var register [17]byte // register[k] is x^k
	for _, k := range []int{16, 15, 14, 13, 9, 8} {
		register[k] = 1
	}
	r := NewRandomiser()
	for packet := range FieldPackets {
		var got [PayloadBytes]byte
		r.Apply(&got, &got, packet)
		for i := range got {
			var want byte
			for bit, k := range []int{1, 3, 4, 7, 11, 12, 13, 14} {
				want |= register[k] << bit
			}
			require.Equal(t, want, got[i], "packet %d, byte %d", packet, i)
			out := register[16]
			copy(register[2:], register[1:16])
			register[1] = out
			for _, k := range []int{1, 3, 6, 7, 11, 12, 13} {
				register[k+1] ^= out
			}
		}
	}
}

func BenchmarkRandomiser(b *testing.B) {
	r := NewRandomiser()
	var packet [PayloadBytes]byte
	b.SetBytes(PayloadBytes)
	for i := 0; b.Loop(); i++ {
		r.Apply(&packet, &packet, i%FieldPackets)
	}
}
