package vsb

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: simulated stays just above the stated ratio, at any clock: what is
// certain must be found, and in a dongle's whole slice with two equal paths.
func TestCertainSNR(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	rng := rand.New(rand.NewPCG(17, 3))
	draws := 24
	if testing.Short() {
		draws = 6
	}
	const chance = 3e-4
	for _, c := range []struct{ rate, offset, seconds float64 }{{2.4e6, 3e6, 0.06}, {2.4e6, 1e6, 0.2}, {1.024e6, 3e6, 0.06}} {
		tr, err := NewTrainer(c.rate, c.offset)
		require.NoError(t, err)
		certain := tr.CertainSNR(c.seconds, chance)
		t.Logf("%g MS/s, %g s: certain from %.1f dB", c.rate/1e6, c.seconds, 10*math.Log10(certain))
		for i := range draws {
			s := plainStay(c.offset, 10*math.Log10(certain/MERPerCN), uint64(50+i))
			s.rate, s.seconds, s.ppm = c.rate, c.seconds, 120*rng.Float64()-60
			if i%3 == 2 && c.rate > 2e6 {
				s.paths = append(s.paths, arrival{2.3e-6, decibels(0, 6*rng.Float64())})
			}
			got, err := tr.Fit(s.samples(t), Knowledge{CenterHz: s.center})
			require.NoError(t, err)
			require.LessOrEqual(t, got.FalseAlarm, chance, "draw %d, %d paths", i, len(s.paths))
		}
	}
	tr, err := NewTrainer(2.4e6, 3e6)
	require.NoError(t, err)
	require.True(t, math.IsInf(tr.CertainSNR(0.02, chance), 1))
}
