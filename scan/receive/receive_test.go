package receive

import (
	"bytes"
	"context"
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb/coding"
	"rooftone/scan/band"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

func channel(t testing.TB, number int) band.Channel {
	plan, err := band.ParsePlan("us")
	require.NoError(t, err)
	c, ok := plan.Channel(number)
	require.True(t, ok)
	return c
}

// lighthouse opens the town whose radio sees whole channels, tuned to one.
func lighthouse(t testing.TB, number int, rateHz float64) *sim.Tuner {
	town, err := sim.Load("lighthouse")
	require.NoError(t, err)
	s, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Tune(context.Background(), tuner.Tuning{CenterHz: channel(t, number).CenterHz(), RateHz: rateHz, GainDB: tuner.UnknownGain()}))
	return s
}

func TestReceptionOfATown(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes more than a second of samples")
	}
	// Truth: the packets that the town's station sent, and the town file's words.
	s := lighthouse(t, 18, 8e6)
	var got bytes.Buffer
	var seconds []Second
	r := New(channel(t, 18), Options{
		Packet: func(p *Packet) error { require.False(t, p.Failed); got.Write(p.Bytes[:]); return nil },
		Second: func(s Second) error { seconds = append(seconds, s); return nil },
	})
	const length = 1.1
	buffer := make([]complex64, 300_000)
	for n := 0; n < length*8e6; n += len(buffer) {
		b, err := s.Read(context.Background(), buffer)
		require.NoError(t, err)
		require.NoError(t, r.Write(b, false))
	}
	require.NoError(t, r.Flush())
	total := r.Total()
	require.Len(t, seconds, 2)
	require.Equal(t, total.Packets, seconds[0].Packets+seconds[1].Packets)
	require.InDelta(t, length, total.Seconds, 0.04)
	require.Zero(t, total.Failed)
	require.Zero(t, total.BadSeconds)
	require.Equal(t, 1, total.Locks)
	require.Less(t, total.FirstGood, 0.15)
	require.Greater(t, seconds[1].MERDB, 18.0)
	t.Logf("%+v", seconds[1])

	// Byte for byte what was sent, from some packet on.
	a := s.Airing(18)
	sent := make([]byte, 70*coding.FieldPackets*coding.PacketBytes)
	for f := range 70 {
		a.Packets(sent[f*coding.FieldPackets*coding.PacketBytes:][:coding.FieldPackets*coding.PacketBytes], int64(f))
	}
	all := got.Bytes()[coding.PacketBytes:] // the first one came before the decoder was sure
	at := bytes.Index(sent, all[:3*coding.PacketBytes])
	require.GreaterOrEqual(t, at, 0)
	require.True(t, bytes.HasPrefix(sent[at:], all))

	look := r.Look()
	require.True(t, look.Status.Locked)
	require.NotEmpty(t, look.After)
	require.NotEmpty(t, look.Taps)
	require.Len(t, look.Timeline.Bins, 2)
	require.True(t, seconds[1].Locked)

	who := r.Identity()
	require.True(t, who.Known())
	require.Equal(t, "21.1 QCLF", who.Label())
	require.Equal(t, "21.1", who.Services()[0].Number())
	require.Equal(t, "QCLF", who.Services()[0].Name)
	require.NotNil(t, who.ClockAheadS)
	require.InDelta(t, -0.5, *who.ClockAheadS, 0.6)
}

func TestReceptionSaysWhatIsTooNarrow(t *testing.T) {
	// Truth: the channel table.
	c := channel(t, 18)
	r := New(c, Options{})
	for _, b := range []tuner.Block{
		{CenterHz: c.CenterHz(), RateHz: 2.4e6},
		{CenterHz: c.CenterHz() + 1.1e6, RateHz: 8e6},
		{CenterHz: c.CenterHz(), RateHz: 25e6},
		{CenterHz: math.NaN(), RateHz: 8e6},
	} {
		narrow := (*NarrowError)(nil)
		require.ErrorAs(t, r.Write(b, true), &narrow)
		require.NotEmpty(t, narrow.Error())
	}
	require.True(t, Covers(c, c.CenterHz()-1e6, 8e6))
	require.True(t, Covers(c, c.CenterHz(), 6e6))
}

func TestReceptionStopsWhereItIsTold(t *testing.T) {
	// Truth: the promise of Options' comments.
	s := lighthouse(t, 14, 8e6)
	full := errors.New("disk full")
	r := New(channel(t, 14), Options{Packet: func(*Packet) error { return full }})
	buffer := make([]complex64, 1_600_000)
	b, err := s.Read(context.Background(), buffer)
	require.NoError(t, err)
	require.ErrorIs(t, r.Write(b, true), full)
}

func TestTimelineIsBounded(t *testing.T) {
	// Truth: counting.
	var l Timeline
	for i := range 5000 {
		s := Second{Length: 1, Locked: i%100 != 7, MERDB: math.NaN(), Packets: 10, Failed: int64(i % 2)}
		if i%3 == 0 {
			s.MERDB = float64(i)
		}
		l.add(s)
	}
	require.LessOrEqual(t, len(l.Bins), maxBins)
	require.Equal(t, 8, l.Length)
	var sum Bin
	for i, b := range l.Bins {
		if i < len(l.Bins)-1 {
			require.Equal(t, 8.0, b.Seconds)
		}
		sum = sum.and(b)
	}
	require.Equal(t, 5000.0, sum.Seconds)
	require.EqualValues(t, 50000, sum.Packets)
	require.EqualValues(t, 2500, sum.Failed)
	require.Equal(t, 50, sum.Unlocked)
}

func TestReceptionCountsLostLock(t *testing.T) {
	// Truth: the promise of Second's and Total's comments: where samples are missing,
	// packets are, and that second is bad, although no packet that came has errors.
	s := lighthouse(t, 14, 8e6)
	var seconds []Second
	r := New(channel(t, 14), Options{Second: func(s Second) error { seconds = append(seconds, s); return nil }})
	buffer := make([]complex64, 1_200_000)
	b, err := s.Read(context.Background(), buffer)
	require.NoError(t, err)
	require.NoError(t, r.Write(b, true))
	require.NoError(t, r.Flush())
	b, err = s.Read(context.Background(), buffer)
	require.NoError(t, err)
	require.NoError(t, r.Write(b, true))
	require.NoError(t, r.Flush())
	require.Len(t, seconds, 2)
	require.False(t, seconds[0].Relocked)
	require.True(t, seconds[1].Relocked)
	total := r.Total()
	require.Equal(t, 2, total.Locks)
	require.Zero(t, total.Failed)
	require.Equal(t, 1, total.BadSeconds)
}
