package coding

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

// noise writes packets that are the same whenever a field is asked for.
func noise(seed byte) func([]byte, int64) {
	return func(dst []byte, field int64) { copy(dst, randomPackets(FieldPackets, uint64(int64(seed)*1000+field))) }
}

func TestAiring(t *testing.T) {
	// Truth: the encoder, which equals a second implementation: in whatever order
	// fields are asked for, they are those of their packets encoded in a row, and
	// all coders end each field with zero.
	p := NewPlayout()
	a, other := p.Airing(noise(1)), p.Airing(noise(2))
	const first, fields = -3, 9
	got := make([]float32, fields*vsb.FieldSymbols)
	packets := make([]byte, fields*FieldPackets*PacketBytes)
	for _, i := range []int{7, 2, 3, 0, 8, 5, 1, 4, 6} {
		field := int64(first + i)
		other.Symbols(make([]float32, 1), field*vsb.FieldSymbols)
		a.Packets(packets[i*FieldPackets*PacketBytes:][:FieldPackets*PacketBytes], field)
		a.Symbols(got[i*vsb.FieldSymbols:][:vsb.FieldSymbols], field*vsb.FieldSymbols)
	}
	want := make([]byte, FieldPackets*PacketBytes)
	for i := range fields {
		noise(1)(want, int64(first+i))
		for n := range FieldPackets {
			sent := packets[(i*FieldPackets+n)*PacketBytes:][:PacketBytes]
			if n == EarlyPacket || n == LatePacket {
				require.Equal(t, []byte{SyncByte, 0x1f, 0xff, 0x10}, sent[:4])
				continue
			}
			require.Equal(t, want[n*PacketBytes:][:PacketBytes], sent)
		}
	}
	e := NewEncoder()
	e.even = true // field -3
	row := make([]float32, vsb.FieldSymbols)
	for i := range fields {
		require.NoError(t, e.Field(row, packets[i*FieldPackets*PacketBytes:][:FieldPackets*PacketBytes]))
		if i == 0 {
			clear(e.trellises[:]) // what the field before it left in the interleaver is not known to e
			copy(e.last[:], got[vsb.FieldSymbols-coders:])
			continue
		}
		for k, v := range row {
			require.Equal(t, v, got[i*vsb.FieldSymbols+k], "symbol %d of field %d", k, first+i)
		}
		require.Zero(t, e.trellises)
	}
	across := make([]float32, 3000)
	a.Symbols(across, -1500)
	require.True(t, equal(got[3*vsb.FieldSymbols-1500:][:3000], across))
}

func TestAiringMendsPackets(t *testing.T) {
	// Truth: the promise that what is no packet becomes a null packet.
	a := NewPlayout().Airing(func(dst []byte, _ int64) { clear(dst) })
	packets := make([]byte, FieldPackets*PacketBytes)
	a.Packets(packets, 5)
	for i := range FieldPackets {
		require.Equal(t, []byte{SyncByte, 0x1f, 0xff, 0x10}, packets[i*PacketBytes:][:4])
	}
}

func BenchmarkAiring(b *testing.B) {
	loop, err := Loop(randomPackets(FieldPackets, 1))
	require.NoError(b, err)
	for _, bench := range []struct {
		name string
		step int64
	}{{"in a row", 1}, {"anywhere", 7}} {
		b.Run(bench.name, func(b *testing.B) {
			a := NewPlayout().Airing(loop)
			dst := make([]float32, vsb.FieldSymbols)
			b.SetBytes(vsb.FieldSymbols)
			b.ReportAllocs()
			for i := int64(0); b.Loop(); i++ {
				a.Symbols(dst, i*bench.step*vsb.FieldSymbols)
			}
		})
	}
}
