package listen

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the noise without the tone.
func TestRemoveOwnTones(t *testing.T) {
	const rate, center, reference = 2.4e6, 547e6, 28.8e6 // the 19th is at 547.2 MHz
	rng := rand.New(rand.NewPCG(1, 9))
	noise := make([]complex64, 144000)
	for i := range noise {
		noise[i] = complex(float32(rng.NormFloat64()), float32(rng.NormFloat64()))
	}
	difference := func(a, b []complex64) float64 {
		var p float64
		for i := range a {
			d := complex128(a[i] - b[i])
			p += real(d)*real(d) + imag(d)*imag(d)
		}
		return p / float64(len(a))
	}
	for _, offHz := range []float64{0, 3.7, -61, 109} {
		for _, level := range []float64{0.1, 1} {
			x := append([]complex64(nil), noise...)
			for i := range x {
				x[i] += complex64(cmplx.Rect(level, 1+2*math.Pi*math.Mod((200e3+offHz)/rate*float64(i), 1)))
			}
			removeOwnTones(x, center, rate, reference)
			// What is left is the noise that the estimate caught: a few of the
			// 144000 dimensions.
			require.Less(t, difference(x, noise), 2.0*12/144000+1e-4*level*level, "%g Hz off, amplitude %g", offHz, level)
		}
	}
	x := append([]complex64(nil), noise...)
	removeOwnTones(x, center, rate, reference)
	require.Equal(t, noise, x, "noise alone stays as it is")
	removeOwnTones(x, 500e6, rate, 1e3)
	removeOwnTones(x[:10], center, rate, reference)
	require.Equal(t, noise, x)
}
