package coding

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

func TestEncoderEqualsSecondImplementation(t *testing.T) {
	// Truth: a second implementation, GNU Radio's ATSC encoder: every symbol of
	// three fields, field syncs and their reserved and precode symbols included.
	symbols := encode(t, vectorPackets())
	require.Equal(t, vectorSymbols(t), symbols[:vectorSegments*vsb.SegmentSymbols])
	for field, want := range vectorSums(t, "field") {
		requireSum(t, want, asSymbols(symbols[field*vsb.FieldSymbols:][:vsb.FieldSymbols]), field)
	}
}

func TestEncoderRefuses(t *testing.T) {
	// Truth: the promises of Field's comment. A refused field leaves the encoder
	// as it was.
	packets := randomPackets(FieldPackets, 1)
	symbols := make([]float32, vsb.FieldSymbols)
	e := NewEncoder()
	require.ErrorContains(t, e.Field(symbols[1:], packets), "260415")
	require.ErrorContains(t, e.Field(symbols, packets[1:]), "58655")
	packets[7*PacketBytes] = 0x48
	require.ErrorContains(t, e.Field(symbols, packets), "packet 7")
	packets[7*PacketBytes] = SyncByte
	require.NoError(t, e.Field(symbols, packets))
	require.Equal(t, encode(t, packets), symbols)
}

func TestEncoderStatistics(t *testing.T) {
	// Truth: theory. The randomiser makes the eight levels equally likely, even
	// for packets that are all alike.
	packets := make([]byte, 2*FieldPackets*PacketBytes)
	for i := range 2 * FieldPackets {
		copy(packets[i*PacketBytes:], []byte{SyncByte, 0x1f, 0xff, 0x10})
	}
	count := map[float32]int{}
	symbols := encode(t, packets)[vsb.FieldSymbols:]
	for i, v := range symbols {
		if i >= vsb.SegmentSymbols && i%vsb.SegmentSymbols >= vsb.SegmentSyncSymbols {
			count[v]++
		}
	}
	require.Len(t, count, 8)
	for level, n := range count {
		require.InEpsilon(t, FieldPackets*dataSymbols/8, n, 0.03, "level %v", level)
	}
}

func BenchmarkEncoder(b *testing.B) {
	packets := randomPackets(FieldPackets, 1)
	symbols := make([]float32, vsb.FieldSymbols)
	e := NewEncoder()
	b.ReportAllocs()
	b.SetBytes(vsb.FieldSymbols)
	for b.Loop() {
		if err := e.Field(symbols, packets); err != nil {
			b.Fatal(err)
		}
	}
}
