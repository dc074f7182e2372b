package vsb

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: channels made to stand still, and channels whose echo was made to turn.
func TestChanging(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	trainers := map[float64]*Trainer{}
	rng := rand.New(rand.NewPCG(7, 7))
	draws := 20
	if testing.Short() {
		draws = 5
	}
	alarms, low := 0, 0
	for i := range 3 * draws {
		s := plainStay([]float64{1e6, 3e6, 5e6}[i%3], 6+22*rng.Float64(), uint64(100+i))
		s.seconds = []float64{0.06, 0.2}[i%2]
		s.ppm = 120*rng.Float64() - 60
		for range i % 4 {
			s.paths = append(s.paths, arrival{-1e-6 + 15e-6*rng.Float64(), decibels(-3-15*rng.Float64(), 6*rng.Float64())})
		}
		got := s.fit(t, trainers, Knowledge{ClockPPM: s.ppm, RangePPM: 3})
		require.NotZero(t, got.Fields)
		if got.Changing < 1e-3 {
			alarms++
			t.Logf("still channel %d: %g, C/N %.1f dB, %d paths", i, got.Changing, s.cn, len(s.paths))
		}
		if got.Changing < 0.1 {
			low++
		}
	}
	require.LessOrEqual(t, alarms, draws/20)
	require.LessOrEqual(t, low, 3*draws/5)
	// An echo of −10 dB that turns 15 times a second: 3 to 6 radians from field
	// to field of a stay.
	for i := range draws {
		s := plainStay(3e6, 18, uint64(900+i))
		s.seconds = 0.2
		still := s.samples(t)
		moving := s
		moving.paths = []arrival{{2e-6, decibels(-10, 1)}}
		moving.cn = 200
		for k, v := range moving.samples(t) {
			sin, cos := math.Sincos(2 * math.Pi * 15 * float64(k) / s.rate)
			still[k] += v * complex64(complex(cos, sin))
		}
		got, err := trainers[3e6].Fit(still, Knowledge{CenterHz: s.center, RangePPM: 3})
		require.NoError(t, err)
		require.NotZero(t, got.Fields)
		require.Less(t, got.Changing, 1e-3)
	}
}
