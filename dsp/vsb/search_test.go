package vsb

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// withoutTraining are signals that have no field syncs.
var withoutTraining = map[string]func(x []complex64, rng *rand.Rand){
	"noise": func([]complex64, *rand.Rand) {},
	"lines": func(x []complex64, rng *rand.Rand) {
		for range 4 {
			hz, size := (rng.Float64()-0.5)*2.2e6, math.Pow(10, rng.Float64()*3-1)
			for i := range x {
				x[i] += complex64(turn(hz*float64(i)/2.4e6) * complex(size, 0))
			}
		}
	},
	"bursts": func(x []complex64, _ *rand.Rand) {
		for i := range x {
			if i%2400 < 240 {
				x[i] *= 30
			}
		}
	},
	"impulses": func(x []complex64, rng *rand.Rand) {
		for range 300 {
			x[rng.IntN(len(x))] += complex(float32(100*rng.NormFloat64()), 0)
		}
	},
	"keyed": func(x []complex64, rng *rand.Rand) {
		hz := rng.Float64() - 0.5
		for i := range x {
			if i/5000%3 == 0 {
				x[i] += complex64(turn(hz*float64(i)) * 30)
			}
		}
	},
	"narrow": func(x []complex64, rng *rand.Rand) {
		// Noise of some 50 kHz, 30 dB above the rest.
		var y complex128
		for i := range x {
			y = 0.93*y + complex(rng.NormFloat64(), rng.NormFloat64())*8
			x[i] += complex64(y * turn(0.21*float64(i)))
		}
	},
	"slots": func(x []complex64, rng *rand.Rand) {
		// Symbols of a multicarrier signal, each with its end before it.
		for at := 0; at+171 <= len(x); at += 171 {
			for i := range 160 {
				x[at+11+i] += complex(float32(3*rng.NormFloat64()), float32(3*rng.NormFloat64()))
			}
			copy(x[at:at+11], x[at+160:at+171])
		}
	},
}

func TestFalseAlarms(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the definition of a probability. Without training FalseAlarm is
	// below p with a probability of about p at most: here the share below 0.1
	// in 24 stays, and none that counts as found.
	t.Parallel()
	tr, err := NewTrainer(2.4e6, 3e6)
	require.NoError(t, err)
	const trials = 24
	for name, spoil := range withoutTraining {
		below := 0
		for seed := range uint64(trials) {
			rng := rand.New(rand.NewPCG(seed, 7))
			x := make([]complex64, 140000)
			for i := range x {
				x[i] = complex(float32(rng.NormFloat64()), float32(rng.NormFloat64()))
			}
			spoil(x, rng)
			got, err := tr.Fit(x, Knowledge{CenterHz: 600e6, RangePPM: 1})
			require.NoError(t, err)
			require.False(t, got.Found, "%s: %v", name, got.FalseAlarm)
			if got.FalseAlarm < 0.1 {
				below++
			}
		}
		t.Logf("%s: %d of %d below 0.1", name, below, trials)
		require.LessOrEqual(t, below, trials/4)
	}
}

func TestDetection(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation. Training alone, in slices without a pilot, with a
	// clock of which nothing is known.
	t.Parallel()
	for _, c := range []struct {
		offset, seconds, cn float64
	}{{3e6, 0.5, -5}, {5e6, 0.5, -5}, {3e6, 0.5, -9}, {5e6, 0.06, 0}, {3e6, 0.026, 3}} {
		s := plainStay(c.offset, c.cn, 21)
		s.seconds, s.ppm = c.seconds, 52
		s.paths = append(s.paths, arrival{1.7e-6, decibels(-6, 1)})
		got := s.fit(t, map[float64]*Trainer{}, Knowledge{})
		t.Logf("%+v: false alarm %.1g, %d fields, clock %.2f ppm, %.2f ± %.2f dB, true %.2f",
			c, got.FalseAlarm, got.Seen, got.ClockPPM, got.MERdB, got.MERSigmaDB, s.mer(got.LowHz, got.HighHz))
		require.True(t, got.Found)
		require.Less(t, got.FalseAlarm, 1e-6)
		if got.Fields > 1 {
			require.InDelta(t, s.ppm, got.ClockPPM, 3)
		}
		require.InDelta(t, s.mer(got.LowHz, got.HighHz), got.MERdB, 1)
	}
}

func TestLogGamma(t *testing.T) {
	// Truth: gonum's gamma distribution.
	for _, n := range []int{1, 2, 3, 8, 40} {
		for _, x := range []float64{1.1, 2, 5, 12} {
			v := x * float64(n)
			want := distuv.Gamma{Alpha: float64(n), Beta: 1}.Survival(v)
			if want < 1e-12 {
				continue
			}
			require.InDelta(t, math.Log(want), logGamma(n, v), 1e-6, "%d %v", n, v)
		}
	}
	require.InDelta(t, -1e4, logGamma(1, 1e4), 1e-6)
	require.Zero(t, logGamma(3, 0))
}

func BenchmarkSearch(b *testing.B) {
	s := plainStay(3e6, 15, 4)
	for _, c := range []struct {
		name    string
		seconds float64
		know    Knowledge
	}{
		{"60ms", 0.06, Knowledge{RangePPM: 1}}, {"60msUnknownClock", 0.06, Knowledge{}},
		{"500ms", 0.5, Knowledge{RangePPM: 1}}, {"500msUnknownClock", 0.5, Knowledge{}},
	} {
		b.Run(c.name, func(b *testing.B) {
			s.seconds = c.seconds
			x := s.samples(b)
			tr, err := NewTrainer(s.rate, s.offset)
			require.NoError(b, err)
			c.know.CenterHz = s.center
			for b.Loop() {
				if _, err := tr.search.find(x, c.know); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
		})
	}
}
