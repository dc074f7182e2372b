package vsb

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// without is a stay of which some samples are missing, from a place on.
func without(x []complex64, at, count int) []complex64 {
	return append(slices.Clone(x[:at]), x[min(len(x), at+count):]...)
}

// Truth: the simulated channel's response and noise. A stay in which samples are
// missing, told by nobody, has the MER of a whole one, with what is left of its fields.
func TestFitAcrossAGap(t *testing.T) {
	trainers := map[float64]*Trainer{}
	rng := rand.New(rand.NewPCG(5, 1))
	var errors scatter
	for draw := range 24 {
		s := plainStay(3e6, []float64{4, 12, 20, 27}[draw%4], uint64(draw+1))
		s.seconds = 0.075
		if draw%3 == 0 {
			s.paths = append(s.paths, arrival{4e-6, decibels(-5, 2)})
		}
		if trainers[s.offset] == nil {
			made, err := NewTrainer(s.rate, s.offset)
			require.NoError(t, err)
			trainers[s.offset] = made
		}
		x := s.samples(t)
		gap := 256 * (1 + rng.IntN(64))
		x = without(x, rng.IntN(len(x)-gap), gap)
		got, err := trainers[s.offset].Fit(x, Knowledge{CenterHz: s.center, RangePPM: 3})
		require.NoError(t, err)
		require.True(t, got.Found, "draw %d", draw)
		require.NotZero(t, got.Fields, "draw %d", draw)
		require.Len(t, got.StartSeconds, got.Fields)
		e := got.MERdB - s.mer(got.LowHz, got.HighHz)
		errors.add(e, got.MERSigmaDB)
		require.Less(t, math.Abs(e), 1.5, "draw %d, C/N %.0f dB, gap of %d", draw, s.cn, gap)
	}
	t.Logf("MER: rms %.2f dB, scores rms %.2f", rms(errors.errors), rms(errors.scores))
	require.Less(t, rms(errors.scores), 1.5)
}

// Truth: the same, with the gap within the training of one of three fields: that
// field is of no use, and the others say what they would without it.
func TestFitWithATornField(t *testing.T) {
	for _, share := range []float64{0.2, 0.35, 0.5, 0.8} {
		s := plainStay(3e6, 20, 9)
		s.seconds = 0.075
		tr, err := NewTrainer(s.rate, s.offset)
		require.NoError(t, err)
		x := s.samples(t)
		know := Knowledge{CenterHz: s.center, RangePPM: 3}
		whole, err := tr.Fit(x, know)
		require.NoError(t, err)
		require.GreaterOrEqual(t, whole.Fields, 3)
		at := int((whole.StartSeconds[1] + share*KnownSymbols/SymbolRateHz) * s.rate)
		torn, err := tr.Fit(without(x, at, 2048), know)
		require.NoError(t, err)
		require.Equal(t, whole.Fields-1, torn.Fields, "%.2f", share)
		require.InDelta(t, whole.MERdB, torn.MERdB, 0.6, "%.2f", share)
	}
}

// Truth: nothing is missing. A second station of any strength, whose fields stand
// elsewhere, is no gap.
func TestSecondStationIsNoGap(t *testing.T) {
	for draw, down := range []float64{0, 1, 3, 6, 10, 15, 20} {
		s := plainStay(3e6, 27, uint64(draw+60))
		s.seconds = 0.1
		x := s.samples(t)
		other := s
		other.seed, other.cn, other.paths = uint64(draw+90), 40, []arrival{{7e-3, decibels(-down, 1)}}
		for i, v := range other.samples(t) {
			x[i] += v
		}
		tr, err := NewTrainer(s.rate, s.offset)
		require.NoError(t, err)
		found, err := tr.search.find(x, Knowledge{CenterHz: s.center, RangePPM: 3})
		require.NoError(t, err)
		require.Empty(t, found.gaps, "%.0f dB down", down)
	}
}
