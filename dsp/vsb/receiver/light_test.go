package receiver

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
)

func TestStillChannel(t *testing.T) {
	if testing.Short() {
		t.Skip("with the race detector receiving is slow")
	}
	// Truth: the packets sent, and the noise added. On a still flat channel the first
	// round is enough, and the modulation error ratio is the noise's all the same; when
	// the noise rises to within a decibel of the threshold no packet is lost.
	s := plain(20, 8)
	x := s.samples(t)
	half := len(x) / 2
	const low = 15.5
	power := air.MeanPower(x[:half]) / (1 + math.Pow(10, -2)*s.rate/vsb.ChannelWidthHz)
	more := math.Pow(10, -low/10) - math.Pow(10, -2)
	air.NewNoise(77).Add(x[half:], power*more*s.rate/vsb.ChannelWidthHz)

	all := sent(11)
	r, err := New(Options{RateHz: s.rate, LowerHz: s.lower, Packet: func(p *Packet) {
		require.False(t, p.Failed)
		require.True(t, all[p.Bytes])
	}})
	require.NoError(t, err)
	require.NoError(t, r.Write(x[:half]))
	require.True(t, r.engine.light)
	require.InDelta(t, 20+10*math.Log10(vsb.MERPerCN), r.Status().MERAfterDB, 0.3)
	require.NoError(t, r.Write(x[half:]))
	require.InDelta(t, low+10*math.Log10(vsb.MERPerCN), r.Status().MERAfterDB, 0.4)
	require.Greater(t, r.Status().Packets, int64(1700))
}

func TestOneProcessorOrTwo(t *testing.T) {
	// Truth: the same work in the other order gives the same, to the last bit.
	x := secondSamples(t)
	run := func(b func(r *Receiver) *beside) (out []byte, s Status) {
		r, err := New(Options{RateHz: secondRate, LowerHz: secondLower, Packet: func(p *Packet) { out = append(out, p.Bytes[:]...) }})
		require.NoError(t, err)
		r.beside = b(r)
		require.NoError(t, r.Write(x))
		return out, r.Status()
	}
	one, status := run(func(r *Receiver) *beside { return &beside{do: r.behind} })
	two, other := run(func(r *Receiver) *beside {
		b := &beside{do: r.behind, done: make(chan struct{}, 1)}
		b.other = func() { b.do(); b.done <- struct{}{} }
		return b
	})
	require.NotEmpty(t, one)
	require.Equal(t, one, two)
	require.Equal(t, status, other)
}
