package psd

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mathext"
)

func TestFalseAlarmRate(t *testing.T) {
	// Truth: counting. Noise alone, many times over, exceeds a threshold
	// somewhere in the band as often as it is said to, within 3.5 times the
	// scatter of the count.
	const rate, span, duration = 100e3, 40e3, 0.004
	trials := 20_000
	if testing.Short() {
		trials = 4000
	}
	for _, blocks := range []float64{1, 3, 1.75} {
		z, err := NewZoom(rate, 10e3, span, duration)
		require.NoError(t, err)
		rng := random(uint64(100 * blocks))
		x := make([]complex64, int(blocks*duration*rate))
		chances := []float64{0.1, 0.01, 0.003}
		counts := make([]int, len(chances))
		var thresholds []float64
		for range trials {
			fillNoise(x, 1, rng)
			z.Reset()
			z.Write(x)
			z.Flush()
			if thresholds == nil {
				for _, c := range chances {
					thresholds = append(thresholds, z.Threshold(span, c))
				}
			}
			highest := 0.0
			for _, v := range z.sums {
				highest = math.Max(highest, v/z.mean.weight*rate)
			}
			for i, threshold := range thresholds {
				if highest > threshold {
					counts[i]++
				}
			}
		}
		for i, c := range chances {
			want := c * float64(trials)
			t.Logf("%v blocks, chance %v, threshold %.2f: %d of %d", blocks, c, thresholds[i], counts[i], trials)
			require.InDelta(t, want, counts[i], 3.5*math.Sqrt(want)+0.1*want, "%v blocks, chance %v", blocks, c)
		}
	}
}

func TestFalseAlarmTheory(t *testing.T) {
	// Truth: theory. For one value of one block the chance is e^−ratio; over a
	// band it lies between that of as many values as there are independent ones
	// and the sum over the grid, and near Rice's count of crossings of a
	// continuous process (S. O. Rice 1945): B √(β u/π) e^−u, where
	// β = (2π)² times the variance of time under the squared taper.
	z, err := NewZoom(2.4e6, 0, 100e3, 0.06)
	require.NoError(t, err)
	require.True(t, math.IsNaN(z.Threshold(1e3, 0.1)), "nothing measured")
	require.True(t, math.IsNaN(z.FalseAlarm(10, 1e3)), "nothing measured")
	z.Write(noise(144000, 1, random(1)))
	z.Flush()
	var squares, spread float64
	taper := Tukey.Samples(10000)
	for i, v := range taper {
		at := (float64(i)/10000 - 0.5) * 0.06
		squares += v * v
		spread += v * v * at * at
	}
	beta := 4 * math.Pi * math.Pi * spread / squares
	for _, ratio := range []float64{5, 10, 15, 20, 40} {
		one := math.Exp(-ratio)
		require.InEpsilon(t, one, z.FalseAlarm(ratio, 0), 1e-9)
		many := z.FalseAlarm(ratio, 1000)
		require.LessOrEqual(t, many, (1000/z.StepHz()+1)*one*(1+1e-9))
		if many < 0.01 {
			require.Greater(t, many, 1000/z.BandwidthHz()*one)
		}
		// Far out the grid holds no longer all crossings.
		if many < 0.01 && many > 1e-10 {
			rice := one + 1000*math.Sqrt(beta*ratio/math.Pi)*one
			require.Less(t, many, rice)
			require.InEpsilon(t, rice, many, 0.35)
		}
	}
	for _, chance := range []float64{0.5, 1e-3, 1e-9} {
		ratio := z.Threshold(20e3, chance)
		require.InEpsilon(t, chance, z.FalseAlarm(ratio, 20e3), 1e-3)
	}
	require.Equal(t, 1.0, z.FalseAlarm(0, 1e3))
	require.Zero(t, z.FalseAlarm(1e4, 1e3))
	require.Zero(t, z.FalseAlarm(math.Inf(1), 1e3))
	for _, chance := range []float64{0, 1, -1, 2, math.NaN()} {
		require.True(t, math.IsNaN(z.Threshold(1e3, chance)))
	}
}

func TestBothExceed(t *testing.T) {
	// Truth: theory. Without correlation it is the product, with full
	// correlation near that of one; and many averages neither lose the way nor
	// take long.
	for _, m := range []float64{1, 2.5, 16, 1000} {
		x := m + 4*math.Sqrt(m)
		one := mathext.GammaIncRegComp(m, x)
		require.InEpsilon(t, one*one, bothExceed(m, x, 0, one), 1e-6)
		require.InEpsilon(t, one, bothExceed(m, x, 0.9999, one), 0.1)
		last := one * one
		for _, rho := range []float64{0.2, 0.5, 0.8, 0.95} {
			both := bothExceed(m, x, rho, one)
			require.Greater(t, both, last)
			require.Less(t, both, one)
			last = both
		}
	}
}
