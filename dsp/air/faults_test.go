package air

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

// line is the power of x at a frequency that fits its length, by a plain
// Fourier sum.
func line(x []complex64, cyclesPerSample float64) float64 {
	var sum complex128
	for k, z := range x {
		sum += complex128(z) * turns(-cyclesPerSample*float64(k))
	}
	return math.Pow(cmplx.Abs(sum)/float64(len(x)), 2)
}

// Theory: the image of an I/Q imbalance, (1+g²−2g·cos φ)/(1+g²+2g·cos φ).
func TestImbalanceImage(t *testing.T) {
	for _, b := range []Imbalance{{0.1, 0}, {0, 1}, {0.3, -0.7}} {
		x := make([]complex64, 1000)
		Tone{Amplitude: 0.5, Hz: 0.1}.Add(x, 0, 1)
		b.Apply(x)
		require.InDelta(t, b.ImageDB(), DB(line(x, -0.1)/line(x, 0.1)), 1e-2)
		require.Less(t, b.ImageDB(), -30.0)
	}
	require.Less(t, Imbalance{}.ImageDB(), -150.0)
}

// Theory: third-order products rise 3 dB per dB and meet the tones at the
// intercept; a single tone is compressed by 1 dB at 9.6 dB below it.
func TestCompressIntercept(t *testing.T) {
	const intercept = 0.5
	for _, p := range []float64{1e-4, 1e-3, 4e-3} {
		x := make([]complex64, 1000)
		a := complex(math.Sqrt(p), 0)
		Tone{Amplitude: a, Hz: 0.10}.Add(x, 0, 1)
		Tone{Amplitude: a, Hz: 0.13}.Add(x, 0, 1)
		Compress(x, intercept)
		want := DB(p * p * p / intercept / intercept)
		require.InDelta(t, want, DB(line(x, 0.07)), 0.05, "2f1-f2")
		require.InDelta(t, want, DB(line(x, 0.16)), 0.05, "2f2-f1")
	}
	one := []complex64{complex64(complex(math.Sqrt(intercept*Power(-9.636)), 0))}
	before := MeanPower(one)
	Compress(one, intercept)
	require.InDelta(t, -1, DB(MeanPower(one)/before), 0.01)
}

// Theory: the curve never falls, is smooth where it levels, and stays finite.
func TestCompressLevels(t *testing.T) {
	before := 0.0
	for a := 0.0; a < 5; a += 0.001 {
		x := []complex64{complex64(complex(a, 0))}
		Compress(x, 1)
		y := float64(real(x[0]))
		require.GreaterOrEqual(t, y, before-1e-6)
		require.LessOrEqual(t, y-before, 0.0011)
		before = y
	}
	require.InDelta(t, 2./3/math.Sqrt(3), before, 1e-6)
	x := []complex64{complex(1e30, 0)}
	Compress(x, 1)
	require.False(t, math.IsNaN(float64(real(x[0]))))
}

func BenchmarkCompress(b *testing.B) {
	x := make([]complex64, 4096)
	NewNoise(1).Fill(x, 0.01)
	for b.Loop() {
		Compress(x, 10)
	}
	reportRate(b, len(x))
}
