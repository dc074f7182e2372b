package psd

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	dspfft "github.com/mjibson/go-dsp/fft"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

// relativeError is the root of the error's power over that of want.
func relativeError(got []complex64, want []complex128) float64 {
	var e, p float64
	for i, w := range want {
		d := cmplx.Abs(complex128(got[i]) - w)
		e += d * d
		p += real(w)*real(w) + imag(w)*imag(w)
	}
	return math.Sqrt(e / p)
}

func widen(x []complex64) []complex128 {
	y := make([]complex128, len(x))
	for i, v := range x {
		y[i] = complex128(v)
	}
	return y
}

// singlePrecision bounds the relative error of a transform in single
// precision. Each of the log n steps adds about half a unit in the last place,
// 6e−8, and the steps add as squares: 1.3e−7 to 3e−7 in all.
const singlePrecision = 4e-7

func TestFFTAgainstDefinition(t *testing.T) {
	// Truth: the definition of the discrete Fourier transform, summed in
	// double precision.
	for name, kernels := range codes() {
		for n := 2; n <= 512; n *= 2 {
			t.Run(fmt.Sprintf("%s/%d", name, n), func(t *testing.T) {
				f, err := newFFT(n, kernels)
				require.NoError(t, err)
				x := noise(n, 1, random(uint64(n)))
				forward, inverse := make([]complex128, n), make([]complex128, n)
				for k := range forward {
					for i, v := range x {
						w := cmplx.Rect(1, -2*math.Pi*float64(i*k%n)/float64(n))
						forward[k] += complex128(v) * w
						inverse[k] += complex128(v) * cmplx.Conj(w)
					}
				}
				y := make([]complex64, n)
				require.NoError(t, f.Transform(y, x))
				require.Less(t, relativeError(y, forward), singlePrecision)
				require.NoError(t, f.Inverse(y, x))
				require.Less(t, relativeError(y, inverse), singlePrecision)
			})
		}
	}
}

func TestFFTAgainstGonum(t *testing.T) {
	// Truth: a second implementation, gonum's in double precision.
	for name, kernels := range codes() {
		for n := 16; n <= 1<<20; n *= 2 {
			if n > 1<<16 && testing.Short() {
				break
			}
			f, err := newFFT(n, kernels)
			require.NoError(t, err)
			x := noise(n, 1, random(uint64(n)))
			other := fourier.NewCmplxFFT(n)
			y := make([]complex64, n)

			require.NoError(t, f.Transform(y, x))
			e := relativeError(y, other.Coefficients(nil, widen(x)))
			require.Less(t, e, singlePrecision, "%s, length %d", name, n)

			require.NoError(t, f.Inverse(y, x))
			e = relativeError(y, other.Sequence(nil, widen(x)))
			require.Less(t, e, singlePrecision, "%s, inverse, length %d", name, n)
		}
	}
}

func TestFFTKernelsAgainstPlain(t *testing.T) {
	// Truth: the two ways must be one transform, for a lone impulse in each
	// place too, where no other value hides an error.
	if !haveLanes() {
		t.Skip("this processor has no kernels")
	}
	for n := 64; n <= 512; n *= 2 {
		fast, err := newFFT(n, true)
		require.NoError(t, err)
		plain, err := newFFT(n, false)
		require.NoError(t, err)
		x, a, b := make([]complex64, n), make([]complex64, n), make([]complex64, n)
		for i := range x {
			clear(x)
			x[i] = complex(1, 0.5)
			require.NoError(t, fast.Transform(a, x))
			require.NoError(t, plain.Transform(b, x))
			for k := range a {
				require.InDelta(t, 0, cmplx.Abs(complex128(a[k]-b[k])), 1e-6, "impulse at %d of %d, value %d", i, n, k)
			}
		}
	}
}

func TestFFTParseval(t *testing.T) {
	// Truth: theory. Σ|X|² = n Σ|x|², and the inverse undoes the transform,
	// here in place.
	for name, kernels := range codes() {
		for _, n := range []int{16, 128, 1024, 8192} {
			f, err := newFFT(n, kernels)
			require.NoError(t, err)
			x := noise(n, 1, random(7))
			want := widen(x)
			power := func() (sum float64) {
				for _, v := range x {
					sum += float64(real(v))*float64(real(v)) + float64(imag(v))*float64(imag(v))
				}
				return sum
			}
			before := power()
			require.NoError(t, f.Transform(x, x))
			require.InEpsilon(t, before*float64(n), power(), 1e-6, "%s, length %d", name, n)
			require.NoError(t, f.Inverse(x, x))
			for i := range x {
				x[i] /= complex(float32(n), 0)
			}
			require.Less(t, relativeError(x, want), 2*singlePrecision, "%s, length %d", name, n)
		}
	}
}

func TestFFTRefuses(t *testing.T) {
	// Truth: what the comments promise.
	for _, n := range []int{-4, 0, 1, 3, 100, 1 << 25} {
		_, err := NewFFT(n)
		require.Error(t, err, "length %d", n)
	}
	f, err := NewFFT(16)
	require.NoError(t, err)
	require.Equal(t, 16, f.Len())
	require.Error(t, f.Transform(make([]complex64, 16), make([]complex64, 15)))
	require.Error(t, f.Inverse(make([]complex64, 15), make([]complex64, 16)))

	// What lies beyond the length is left alone.
	y := make([]complex64, 18)
	y[16], y[17] = 5, 6
	require.NoError(t, f.Transform(y, noise(20, 1, random(1))))
	require.Equal(t, []complex64{5, 6}, y[16:])
}

func TestFFTAllocatesNothing(t *testing.T) {
	// Truth: the runtime's count; steady state allocates nothing.
	for name, kernels := range codes() {
		f, err := newFFT(1024, kernels)
		require.NoError(t, err)
		x, y := noise(1024, 1, random(1)), make([]complex64, 1024)
		require.Zero(t, testing.AllocsPerRun(20, func() {
			_ = f.Transform(y, x)
			_ = f.Inverse(x, y)
			_ = f.Transform(x, x)
		}), name)
	}
}

// reportRate states the samples worked off in a second, of n in each run.
func reportRate(b *testing.B, n int) {
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
}

func BenchmarkFFT(b *testing.B) {
	for _, n := range []int{64, 256, 512, 1024, 2048, 4096, 65536, 1 << 19} {
		x, y := noise(n, 1, random(1)), make([]complex64, n)
		for name, kernels := range codes() {
			f, err := newFFT(n, kernels)
			require.NoError(b, err)
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				for b.Loop() {
					_ = f.Transform(y, x)
				}
				reportRate(b, n)
			})
		}
		wide, out := widen(x), make([]complex128, n)
		other := fourier.NewCmplxFFT(n)
		b.Run(fmt.Sprintf("gonum/%d", n), func(b *testing.B) {
			for b.Loop() {
				other.Coefficients(out, wide)
			}
			reportRate(b, n)
		})
		b.Run(fmt.Sprintf("go-dsp/%d", n), func(b *testing.B) {
			for b.Loop() {
				dspfft.FFT(wide)
			}
			reportRate(b, n)
		})
	}
}
