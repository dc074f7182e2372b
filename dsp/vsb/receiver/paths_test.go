package receiver

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// tapsOf are the taps of a channel with paths, by adding up the channel's frequencies
// one by one: the raised cosine of A/53 Part 2, 6.8, between the band's edges, the
// pilot at 0 Hz.
func tapsOf(paths []Path, noise float64, rng *rand.Rand) []Tap {
	const (
		rate   = 4.5e6 / 286 * 684
		middle = rate / 4
		half   = rate / 4
		skirt  = 0.1152 * half
		step   = 10e3
	)
	var out []Tap
	for l := -100; l < 400; l++ {
		var sum complex128
		s := float64(l) / rate
		for f := middle - half - skirt; f <= middle+half+skirt; f += step {
			shape := 1.0
			if d := math.Abs(f-middle) - (half - skirt); d > 0 {
				shape = 0.5 * (1 + math.Cos(math.Pi*d/(2*skirt)))
			}
			for _, p := range paths {
				sum += complex(shape*step/(2*half), 0) * p.Gain * cmplx.Rect(1, 2*math.Pi*f*(s-p.DelaySeconds))
			}
		}
		sum += complex(noise*rng.NormFloat64(), noise*rng.NormFloat64())
		out = append(out, Tap{s, sum})
	}
	return out
}

// Truth: the paths that the taps were made of, by a sum over frequencies: a lone path
// between two taps is no fan of echoes, and echoes are found where they are.
func TestPaths(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, at := range []float64{0, 0.25, 0.5, -0.4} {
		found := Paths(tapsOf([]Path{{at / 10.76e6, cmplx.Rect(1, 2)}}, 1e-4, rng), -30)
		require.Len(t, found, 1, "at %g of a symbol: %v", at, found)
		require.InDelta(t, 1, cmplx.Abs(found[0].Gain), 1e-12)
	}
	made := []Path{{-0.9e-6, cmplx.Rect(0.16, 1)}, {0, 1}, {0.7e-6, cmplx.Rect(0.45, -2)}, {2.93e-6, cmplx.Rect(0.28, 0.3)}, {12.4e-6, cmplx.Rect(0.06, 3)}}
	for range 5 {
		found := Paths(tapsOf(made, 2e-3, rng), -30)
		require.Len(t, found, len(made), "%v", found)
		for k, p := range found {
			require.InDelta(t, made[k].DelaySeconds, p.DelaySeconds, 10e-9)
			require.InDelta(t, 0, 20*math.Log10(cmplx.Abs(p.Gain)/cmplx.Abs(made[k].Gain)), 0.5)
		}
	}
	require.Empty(t, Paths(nil, -30))
	require.NotPanics(t, func() { Paths([]Tap{{0, cmplx.NaN()}, {1e-7, cmplx.Inf()}}, -30) })
}
