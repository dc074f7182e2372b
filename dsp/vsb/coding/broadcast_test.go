package coding

import (
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

func TestBroadcast(t *testing.T) {
	// Truth: the encoder, which equals a second implementation: whatever piece is
	// asked for, in whatever order, it is that of the packets encoded in a row.
	stream := randomPackets(FieldPackets+100, 1)
	loop, err := Loop(stream)
	require.NoError(t, err)
	const fields = 9 // -2 to 6
	packets := make([]byte, fields*FieldPackets*PacketBytes)
	for i := range fields {
		loop(packets[i*FieldPackets*PacketBytes:][:FieldPackets*PacketBytes], int64(i-2))
	}
	const begin = 2 * FieldPackets % (FieldPackets + 100) // field -2 is as far from the loop's end
	require.Equal(t, stream[(FieldPackets+100-begin)*PacketBytes:][:PacketBytes], packets[:PacketBytes])
	require.Equal(t, stream[:PacketBytes], packets[2*FieldPackets*PacketBytes:][:PacketBytes])
	want := encode(t, packets)
	b := NewBroadcast(loop)
	for _, c := range []struct{ first, length int }{
		{0, 1000}, {vsb.FieldSymbols - 10, 20}, {5 * vsb.FieldSymbols, 3}, {-10, 20},
		{-2 * vsb.FieldSymbols, 100}, {3*vsb.FieldSymbols + 7, 2 * vsb.FieldSymbols}, {6 * vsb.FieldSymbols, 832}, {12345, 54321},
	} {
		got := make([]float32, c.length)
		b.Symbols(got, int64(c.first))
		require.Equal(t, want[2*vsb.FieldSymbols+c.first:][:c.length], got, "%d from %d", c.length, c.first)
	}
	before := make([]float32, 30)
	before[0] = 1
	b.Symbols(before, -2*vsb.FieldSymbols-20)
	require.Equal(t, append(make([]float32, 20), want[:10]...), before)
	odd, _ := vsb.FieldSync(true)
	b.Symbols(before, 578) // the middle PN63
	require.Equal(t, odd[578:608], before)
}

func TestBroadcastMendsPackets(t *testing.T) {
	// Truth: the promise that what is no packet becomes a null packet.
	b := NewBroadcast(func(dst []byte, field int64) { clear(dst) })
	soft := make([]float32, vsb.FieldSymbols)
	b.Symbols(soft, 0)
	for _, p := range decode(t, NewDecoder(), soft, 0) {
		require.False(t, p.Failed)
		require.Equal(t, []byte{SyncByte, 0x1f, 0xff, 0x10, 0}, p.Bytes[:5])
	}
}

func TestBroadcastTogether(t *testing.T) {
	// Truth: the promise that several goroutines may use it; the race detector
	// watches.
	loop, err := Loop(randomPackets(1, 1))
	require.NoError(t, err)
	b := NewBroadcast(loop)
	want := make([]float32, 5000)
	NewBroadcast(loop).Symbols(want, 3*vsb.FieldSymbols-2500)
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			got := make([]float32, len(want))
			b.Symbols(got, 3*vsb.FieldSymbols-2500)
			if !equal(want, got) {
				t.Error("other symbols")
			}
		})
	}
	wait.Wait()
}

func equal(a, b []float32) bool {
	for i, v := range a {
		if v != b[i] {
			return false
		}
	}
	return len(a) == len(b)
}

func TestLoopRefuses(t *testing.T) {
	// Truth: the promise of Loop's comment.
	for _, stream := range [][]byte{nil, make([]byte, 187), make([]byte, 188), randomPackets(2, 1)[1:]} {
		_, err := Loop(stream)
		require.Error(t, err)
	}
}
