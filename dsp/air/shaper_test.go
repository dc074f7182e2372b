package air

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
)

// spectrum is the mean periodogram of x over rectangular blocks of n; each
// value is a power density per cycle per sample.
func spectrum(t *testing.T, x []complex64, n int) []float64 {
	t.Helper()
	f, err := psd.NewFFT(n)
	require.NoError(t, err)
	out, y := make([]float64, n), make([]complex64, n)
	blocks := len(x) / n
	for b := range blocks {
		require.NoError(t, f.Transform(y, x[b*n:]))
		for k, z := range y {
			out[k] += float64(real(z)*real(z)+imag(z)*imag(z)) / float64(n*blocks)
		}
	}
	return out
}

// Theory: the mean power is the density's integral, and the density is as
// asked wherever it is smooth.
func TestShaperSpectrum(t *testing.T) {
	const n = 1 << 21
	s, err := NewShaper(1024, 9, FlatTop(-0.2, 0.3, 0.02, 2))
	require.NoError(t, err)
	x := make([]complex64, n)
	require.NoError(t, s.Add(x))
	// n/2 complex values of independent power: σ is 2·√(2/n).
	require.InDelta(t, 2, MeanPower(x), 5*2*math.Sqrt(2./n))
	const bins = 64
	got := spectrum(t, x, bins)
	level := 2 / 0.48
	for k, d := range got {
		f := float64(k) / bins
		if k >= bins/2 {
			f--
		}
		switch {
		case f > -0.14 && f < 0.24:
			require.InEpsilon(t, level, d, 6*math.Sqrt(bins/float64(n))+0.003, "at %g", f)
		case f < -0.3 || f > 0.4:
			require.Less(t, d, 0.02*level, "at %g", f) // what a rectangular block of 64 leaks
		}
	}
}

// Theory: the squared windows add to 1, so the power is the same at every place
// in a block; and it is Gaussian: E|z|⁴ = 2.
func TestShaperIsStationary(t *testing.T) {
	const block, turns = 64, 20_000
	s, err := NewShaper(block, 2, func(float64) float64 { return 1 })
	require.NoError(t, err)
	var second, fourth [block / 2]float64
	x := make([]complex64, block/2)
	for range turns {
		clear(x)
		require.NoError(t, s.Add(x))
		for k, z := range x {
			p := float64(real(z)*real(z) + imag(z)*imag(z))
			second[k] += p / turns
			fourth[k] += p * p / turns
		}
	}
	for k := range second {
		require.InDelta(t, 1, second[k], 5*math.Sqrt(1./turns), k)
		require.InDelta(t, 2, fourth[k], 5*math.Sqrt(20./turns), k)
	}
}

// Theory: a seed's sequence is the same in any pieces.
func TestShaperSeeds(t *testing.T) {
	s, err := NewShaper(256, 5, FlatTop(-0.1, 0.1, 0, 1))
	require.NoError(t, err)
	whole, pieces := make([]complex64, 5000), make([]complex64, 5000)
	require.NoError(t, s.Add(whole))
	require.NoError(t, s.Seed(5))
	for i, n := 0, 1; i < len(pieces); i, n = i+n, n+1 {
		require.NoError(t, s.Add(pieces[i:min(i+n, len(pieces))]))
	}
	require.NotEqual(t, whole[:128], whole[128:256])
	requireClose(t, whole, pieces, 1e-6)

	_, err = NewShaper(100, 1, FlatTop(0, 1, 0, 1))
	require.Error(t, err)
	_, err = NewShaper(128, 1, func(float64) float64 { return math.NaN() })
	require.Error(t, err)
}

func BenchmarkShaper(b *testing.B) {
	s, err := NewShaper(4096, 1, FlatTop(-0.1, 0.3, 0.01, 1))
	require.NoError(b, err)
	x := make([]complex64, 4096)
	b.ReportAllocs()
	for b.Loop() {
		if err := s.Add(x); err != nil {
			b.Fatal(err)
		}
	}
	reportRate(b, len(x))
}
