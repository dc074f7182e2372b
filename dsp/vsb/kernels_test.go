package vsb

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// rough are numbers of all sizes, so that many a rounding differs from its neighbours.
func rough(rng *rand.Rand) float64 { return rng.NormFloat64() * math.Exp(3*rng.NormFloat64()) }

func TestLinearKernelsToTheBit(t *testing.T) {
	// Truth: the plain code, to the last bit, on whatever processor.
	rng := rand.New(rand.NewPCG(21, 1))
	for n := range 20 {
		x, y := make([]complex128, n), make([]complex128, n)
		for i := range x {
			x[i], y[i] = complex(rough(rng), rough(rng)), complex(rough(rng), rough(rng))
		}
		require.Equal(t, dotPlain(x, y), dot(x, y), n)
		require.Equal(t, innerPlain(x, y), inner(x, y), n)
		k := complex(rough(rng), rough(rng))
		want := append([]complex128{}, y...)
		addScaledPlain(want, k, x)
		addScaled(y, k, x)
		require.Equal(t, want, y, n)
	}
}

func TestSearchKernelsToTheBit(t *testing.T) {
	// Truth: the plain code, to the last bit, on whatever processor.
	rng := rand.New(rand.NewPCG(22, 1))
	for _, n := range []int{0, 1, 3, 4, 5, 63, 64} {
		x, y, weights := make([]complex64, n), make([]complex64, n), make([]float32, n)
		for i := range x {
			x[i], y[i] = complex64(complex(rough(rng), rough(rng))), complex64(complex(rough(rng), rough(rng)))
			weights[i] = float32(math.Abs(rough(rng)))
		}
		got, want := make([]complex64, n), make([]complex64, n)
		scaleBy(got, x, weights)
		scaleByPlain(want, x, weights)
		require.Equal(t, want, got)
		odd, even, odd2, even2 := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
		scores(odd, even, weights, x, y, 0.7)
		scoresPlain(odd2, even2, weights, x, y, 0.7)
		require.Equal(t, odd2, odd)
		require.Equal(t, even2, even)
		multiplyConjPlain(want, x, y)
		multiplyConj(x, x, y)
		require.Equal(t, want, x)
	}
}
