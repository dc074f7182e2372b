package scan

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

// ratedTuner is a radio that says which rates it has.
type ratedTuner struct {
	tuner.Tuner
	rates tuner.Rates
}

func (r ratedTuner) Rates() tuner.Rates { return r.rates }

// Truth: arithmetic, with the rates of radios as they are common: dongles, wide ones,
// those that have two rates only.
func TestRateChoice(t *testing.T) {
	for _, c := range []struct {
		name                  string
		rates                 tuner.Rates
		sweep, narrow, follow float64
	}{
		{"says nothing", nil, 2.4e6, 2.4e6, 2.4e6},
		{"dongle", tuner.Rates{{LowHz: 225001, HighHz: 300000}, {LowHz: 900001, HighHz: 3200000}}, 2.4e6, 2.4e6, 2.4e6},
		{"up to 20", tuner.Rates{{LowHz: 1e6, HighHz: 20e6}}, 10e6, 2.4e6, 8e6},
		{"up to 61.44", tuner.Rates{{LowHz: 0.52e6, HighHz: 61.44e6}}, 10e6, 2.4e6, 8e6},
		{"two rates", tuner.Rates{{LowHz: 2.5e6, HighHz: 2.5e6}, {LowHz: 10e6, HighHz: 10e6}}, 10e6, 2.5e6, 10e6},
		{"two other rates", tuner.Rates{{LowHz: 3e6, HighHz: 3e6}, {LowHz: 6e6, HighHz: 6e6}}, 3e6, 3e6, 3e6},
		{"a fast one only", tuner.Rates{{LowHz: 12.5e6, HighHz: 12.5e6}}, 12.5e6, 12.5e6, 12.5e6},
		{"slow", tuner.Rates{{LowHz: 0.25e6, HighHz: 2.048e6}}, 2.048e6, 2.048e6, 2.048e6},
		{"in steps", tuner.Rates{{LowHz: 1e6, HighHz: 9.1e6, StepHz: 0.7e6}}, 8.7e6, 2.4e6, 8e6},
	} {
		r := ratedTuner{rates: c.rates}
		require.InDelta(t, c.sweep, Rate(r), 1, "%s: sweep", c.name)
		require.InDelta(t, c.narrow, NarrowRate(r), 1, "%s: narrow", c.name)
		require.InDelta(t, c.follow, FollowRate(r), 1, "%s: follow", c.name)
	}
}

// Truth: arithmetic. Every channel lies within what some tuning of its stop shows.
func TestStops(t *testing.T) {
	channels := usChannels(t, "2-36")
	for _, c := range []struct {
		rate         float64
		stops, tunes int
	}{{2.4e6, 35, 105}, {8e6, 35, 35}, {10e6, 35, 35}, {15e6, 19, 19}, {20e6, 19, 19}, {21e6, 13, 13}} {
		all := stops(channels, c.rate)
		seen, tunes := 0, 0
		for _, s := range all {
			tunes += len(s.centersHz)
			for _, ch := range s.channels {
				require.Equal(t, channels[seen], ch)
				seen++
				low, high := ch.UpperHz(), ch.LowerHz
				for _, hz := range s.centersHz {
					low, high = min(low, hz-0.4375*c.rate), max(high, hz+0.4375*c.rate)
				}
				require.LessOrEqual(t, low, ch.LowerHz)
				require.GreaterOrEqual(t, high, ch.UpperHz())
			}
		}
		require.Equal(t, len(channels), seen)
		require.Equal(t, []int{c.stops, c.tunes}, []int{len(all), tunes}, "%g", c.rate)
	}
}

// Truth: theory: Gaussian noise of which the power is known, in front of rails at ±1.
func TestGainSteps(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for _, dBFS := range []float64{-20, -7.8, -6, 0, 6, 12} {
		b := tuner.Block{Samples: make([]complex64, 100_000)}
		sigma := math.Sqrt(math.Pow(10, dBFS/10) / 2)
		for i := range b.Samples {
			re, im := sigma*rng.NormFloat64(), sigma*rng.NormFloat64()
			if math.Abs(re) >= 1 || math.Abs(im) >= 1 {
				b.Clipped++
			}
			b.Samples[i] = complex64(complex(max(-1, min(1, re)), max(-1, min(1, im))))
		}
		require.Equal(t, dBFS > -7.8, excessDB(b) > 0.2, "%g dBFS", dBFS)
		if dBFS > -7.8 {
			require.InDelta(t, dBFS+7.8, excessDB(b), 0.5, "%g dBFS", dBFS)
		}
		if dBFS < -7.8 {
			require.InDelta(t, -7.8-dBFS, roomDB(b), 0.2, "%g dBFS", dBFS)
		}
	}
}
