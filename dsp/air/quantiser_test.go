package air

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Theory: a mid-rise quantiser's levels and rails.
func TestQuantiserLevelsAndRails(t *testing.T) {
	q, err := NewQuantiser(8)
	require.NoError(t, err)
	inf, nan := float32(math.Inf(1)), float32(math.NaN())
	x := []complex64{
		complex(1, -1), complex(5, 0), complex(0, -7), complex(inf, -inf), // on rails
		complex(0.9, -0.9), complex(nan, nan), complex(0.003, -0.003),
	}
	require.Equal(t, 4, q.Apply(x))
	half := float32(0.5 / 127.5)
	require.Equal(t, complex(float32(1), float32(-1)), x[0])
	require.Equal(t, complex(float32(1), half), x[1])
	require.Equal(t, complex(float32(1), float32(-1)), x[3])
	require.Equal(t, complex(-half, -half), x[5])
	require.Equal(t, complex(half, -half), x[6])
	require.Zero(t, q.Apply(nil))
	for _, bits := range []int{0, -1, 17} {
		_, err := NewQuantiser(bits)
		require.Error(t, err)
	}
}

// Theory: step²/12 for each of I and Q (Widrow) while the input is Gaussian,
// larger than a step and inside the rails.
func TestQuantiserNoiseIsUniform(t *testing.T) {
	q, err := NewQuantiser(8)
	require.NoError(t, err)
	step := 1 / 127.5
	want := 2 * step * step / 12
	n := NewNoise(1)
	for _, power := range []float64{3e-4, 1e-3, 1e-2} {
		x := make([]complex64, 1<<20)
		n.Fill(x, power)
		y := append([]complex64(nil), x...)
		q.Apply(y)
		var sum float64
		for k := range y {
			d := y[k] - x[k]
			sum += float64(real(d)*real(d) + imag(d)*imag(d))
		}
		// Uniform error: variance of its square is 4/5 of the mean squared, twice.
		require.InEpsilon(t, want, sum/float64(len(x)), 5*math.Sqrt(0.4/float64(len(x)))+1e-4)
		r := q.Rounding(power)
		require.InDelta(t, 1, r.Gain, 1e-4)
		require.InEpsilon(t, want, r.Error, 1e-2)
	}
}

// Theory: Bussgang's split, against the same split measured on noise, from
// inputs of a fifth of a step to inputs that spend most of the time on a rail.
func TestQuantiserRoundingIsWhatIsMeasured(t *testing.T) {
	for _, bits := range []int{1, 3, 8, 12} {
		q, err := NewQuantiser(bits)
		require.NoError(t, err)
		for _, power := range []float64{5e-6, 2e-5, 1e-4, 0.05, 0.5, 3} {
			x := make([]complex64, 1<<19)
			NewNoise(uint64(bits)).Fill(x, power)
			y := append([]complex64(nil), x...)
			q.Apply(y)
			var xy, xx, yy float64
			for k := range x {
				xr, xi, yr, yi := float64(real(x[k])), float64(imag(x[k])), float64(real(y[k])), float64(imag(y[k]))
				xy += xr*yr + xi*yi
				xx += xr*xr + xi*xi
				yy += yr*yr + yi*yi
			}
			gain := xy / xx
			residue := (yy - gain*xy) / float64(len(x))
			r := q.Rounding(power)
			require.InEpsilon(t, gain, r.Gain, 0.01, "%d bits, power %g", bits, power)
			require.InDelta(t, residue, r.Error, 0.02*residue+1e-12, "%d bits, power %g", bits, power)
		}
		require.False(t, math.IsNaN(q.Rounding(0).Error))
	}
}

func BenchmarkQuantiser(b *testing.B) {
	q, _ := NewQuantiser(8)
	x := make([]complex64, 4096)
	NewNoise(1).Fill(x, 0.1)
	y := make([]complex64, len(x))
	b.ReportAllocs()
	for b.Loop() {
		copy(y, x)
		q.Apply(y)
	}
	reportRate(b, len(x))
}
