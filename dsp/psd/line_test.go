package psd

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: theory. A tone of known power and place in white noise of known density
// is found there, and its scatter is what SigmaDB and SigmaHz say.
func TestFindLine(t *testing.T) {
	const rate, density = 2.4e6, 1e-9
	for _, c := range []struct{ offset, power float64 }{{-1.05e6, 1e-5}, {371234.5, 1e-6}, {1.1e6, 3e-7}} {
		random := rand.New(rand.NewPCG(7, uint64(c.power*1e9)))
		var level, place, squares, squaresHz, sigmaDB, sigmaHz float64
		const draws = 8
		for range draws {
			x := make([]complex64, 240000)
			sigma := math.Sqrt(density * rate / 2)
			at := c.offset + 60*(2*random.Float64()-1)
			phase := random.Float64()
			for i := range x {
				tone := cmplx.Rect(math.Sqrt(c.power), 2*math.Pi*(phase+math.Mod(at/rate*float64(i), 1)))
				x[i] = complex64(tone + complex(sigma*random.NormFloat64(), sigma*random.NormFloat64()))
			}
			l, err := FindLine(x, rate, c.offset, 200)
			require.NoError(t, err)
			require.InDelta(t, 0, 10*math.Log10(l.Density/density), 1)
			dB := 10 * math.Log10(l.Power/c.power)
			level += dB / draws
			sigmaDB += l.SigmaDB / draws
			sigmaHz += l.SigmaHz / draws
			place += (l.OffsetHz - at) / draws
			squares += dB * dB / (l.SigmaDB * l.SigmaDB) / draws
			squaresHz += (l.OffsetHz - at) * (l.OffsetHz - at) / (l.SigmaHz * l.SigmaHz) / draws
		}
		require.InDelta(t, 0, level, 0.03+3*sigmaDB/math.Sqrt(draws))
		require.InDelta(t, 0, place, 0.02+3*sigmaHz/math.Sqrt(draws))
		require.InDelta(t, 1, math.Sqrt(squares), 0.6)
		require.InDelta(t, 1, math.Sqrt(squaresHz), 0.7)
	}
}

// Truth: probability. Noise alone seldom passes for a line, and what cannot be
// looked at is refused.
func TestFindLineInNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	x := make([]complex64, 120000)
	for i := range x {
		x[i] = complex(float32(random.NormFloat64()), float32(random.NormFloat64()))
	}
	l, err := FindLine(x, 2.4e6, 1e5, 200)
	require.NoError(t, err)
	require.Less(t, l.OverNoise, 15.)
	_, err = FindLine(x[:100], 2.4e6, 0, 100)
	require.ErrorContains(t, err, "too few")
	_, err = FindLine(x, math.NaN(), 0, 100)
	require.Error(t, err)
}
