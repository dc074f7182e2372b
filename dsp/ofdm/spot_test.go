package ofdm

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
)

// Truth: the signal's own generator, whose first symbol the stored vector
// confirms. 8 bits, 300 ms, any clock to 60 ppm, nothing known of it.
func TestSpot(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	noise := air.NewNoise(3)
	var spotter Spotter
	for _, c := range []struct {
		rate, cn float64
		echoes   []air.Path
		least    float64 // share that must be found; below, it is only told
	}{
		{2.4e6, 20, nil, 1},
		{2.4e6, 0, nil, 1},
		{2.4e6, -3, nil, 1},
		{2.4e6, -6, nil, 0},
		{2.4e6, 3, []air.Path{{DelaySeconds: 1.4e-6, LevelDB: -1, PhaseDeg: 130}, {DelaySeconds: 9.3e-6, LevelDB: -5, PhaseDeg: 20}}, 1},
		{2.048e6, 3, nil, 1},
		{1.024e6, 6, nil, 1},
		{6.9e6, 0, nil, 1},
	} {
		random := rand.New(rand.NewPCG(5, uint64(100+c.cn)))
		found, shown := 0, 0
		n := min(30, *trials)
		for i := range n {
			offset := offsets[i%3]
			if c.rate > 3e6 {
				offset = 3e6
			}
			s := stay{rate: c.rate, offset: offset, seconds: 0.3, hz: 600e6, cn: c.cn, bits: 8, echoes: c.echoes}
			s.ppm, s.start = 120*random.Float64()-60, 100*random.Float64()
			w := newWaveform(t, random.Uint64(), 186)
			x := s.of(t, s.station(t, w), noise)
			search := newTestSearcher(t, s.rate, s.offset, AroundSamples(s.rate))
			for _, place := range spotter.Spot(x, s.rate) {
				first, part := Around(x, s.rate, place)
				b, err := search.Search(part, 0, 36.2e3)
				require.NoError(t, err)
				if b.Found {
					b.StartSeconds += float64(first) / s.rate
					s.requireTrue(t, w, b, 10e-6)
					found++
					break
				}
			}
			start := math.Mod(w.FrameSeconds()-math.Mod(s.start, w.FrameSeconds()), w.FrameSeconds())
			if start > 1e-3 && start < s.seconds-4e-3 {
				shown++
			}
		}
		t.Logf("%.4g MS/s, C/N %v dB, %d echoes: %d found of the %d stays that begin no later than a frame before their end", c.rate/1e6, c.cn, len(c.echoes), found, shown)
		require.GreaterOrEqual(t, float64(found), c.least*float64(shown))
	}
}

// Too little to hold a bootstrap, and silence, have no places.
func TestSpotNothing(t *testing.T) {
	var s Spotter
	require.Empty(t, s.Spot(nil, 2.4e6))
	require.Empty(t, s.Spot(make([]complex64, 5000), 2.4e6))
	require.Empty(t, s.Spot(make([]complex64, 144000), 2.4e6))
	require.Empty(t, s.Spot(make([]complex64, 10), 10))
}

func BenchmarkSpot(b *testing.B) {
	x := make([]complex64, 144000)
	air.NewNoise(1).Fill(x, 0.05)
	var s Spotter
	for b.Loop() {
		s.Spot(x, 2.4e6)
	}
}

// BenchmarkSearchAround is the search at the places that Spot returns, nothing
// known of the clock.
func BenchmarkSearchAround(b *testing.B) {
	x := make([]complex64, AroundSamples(2.4e6))
	air.NewNoise(1).Fill(x, 0.05)
	s, err := NewSearcher(2.4e6, 3e6, len(x))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		for range spots {
			if _, err := s.Search(x, 0, 36e3); err != nil {
				b.Fatal(err)
			}
		}
	}
}
