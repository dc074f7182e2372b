package coding

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestInterleaverEqualsSecondImplementation(t *testing.T) {
	// Truth: a second implementation, GNU Radio's ATSC interleaver.
	bytes := vectorCodewords()
	new(Interleaver).Write(bytes)
	for field, want := range vectorSums(t, "interleaved") {
		requireSum(t, want, bytes[field*fieldBytes:][:fieldBytes], field)
	}
}

func TestInterleaverBranches(t *testing.T) {
	// Truth: the standard's figure: a commutator steps through 52 shift registers
	// of 0, 4, 8 … 204 bytes.
	var registers [52][]byte
	for i := range registers {
		registers[i] = make([]byte, 4*i)
	}
	var v Interleaver
	for n := range 3 * fieldBytes {
		in := byte(n ^ n>>8 ^ n>>16)
		branch := append(registers[n%52], in)
		want := branch[0]
		registers[n%52] = branch[1:]
		b := []byte{in}
		v.Write(b)
		require.Equal(t, want, b[0], "byte %d", n)
	}
}

func TestDeinterleaver(t *testing.T) {
	// Truth: the interleaver: each packet comes out as it went in, when the last byte
	// of the 52nd segment behind it has come, and the marks stay with their bytes.
	sent := vectorCodewords()
	stream := append([]byte(nil), sent...)
	new(Interleaver).Write(stream)
	var ring byteRing
	ring.reset(0)
	var codeword [CodedBytes]byte
	var places [CodedBytes]int
	for at := 0; at < len(stream); at += coders {
		ring.clear(int64(at)+coders, int64(at)+2*coders)
		ring.write(stream[at:][:coders], 0)
		if at%996 == 0 {
			ring.erase(int64(at)+5, 1)
		}
		last := at + coders - 1
		packet := (last-50)/CodedBytes - DelaySegments
		if packet < 0 {
			continue
		}
		n := ring.gather(&codeword, &places, int64(packet*CodedBytes))
		require.Equal(t, sent[packet*CodedBytes:][:CodedBytes], codeword[:], "packet %d", packet)
		var want []int
		for i := range CodedBytes {
			if m := packet*CodedBytes + i; (m+m%52*208)%996 == 5 {
				want = append(want, i)
			}
		}
		require.Equal(t, len(want), n)
		for i, place := range want {
			require.Equal(t, place, places[i])
		}
	}
}

func BenchmarkInterleaver(b *testing.B) {
	var v Interleaver
	var bytes [CodedBytes]byte
	b.SetBytes(CodedBytes)
	for b.Loop() {
		v.Write(bytes[:])
	}
}

func BenchmarkDeinterleaver(b *testing.B) {
	var ring byteRing
	ring.reset(0)
	var codeword [CodedBytes]byte
	var places [CodedBytes]int
	b.SetBytes(CodedBytes)
	for first := int64(0); b.Loop(); first += CodedBytes {
		ring.gather(&codeword, &places, first)
	}
}
