package psd

import (
	"fmt"
	"math"
	"testing"

	dspfft "github.com/mjibson/go-dsp/fft"
	"github.com/mjibson/go-dsp/spectral"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

func TestWelchAgainstSciPy(t *testing.T) {
	// Truth: a second implementation, scipy.signal.welch on the same samples.
	r := scipy(t)
	x := r.samples()
	require.Len(t, r.Welch, 12)
	for name, kernels := range codes() {
		for _, c := range r.Welch {
			w, err := newWelch(r.RateHz, c.Segment, windowNamed(t, c.Window), kernels)
			require.NoError(t, err)
			w.Write(x)
			for i, v := range w.Density(nil) {
				// In single precision a weak bin carries the rounding of the strong.
				require.InDelta(t, c.Density[i], v, 2e-6*c.Density[i]+1e-18, "%s, %s, %d, value %d", name, c.Window, c.Segment, i)
			}
		}
	}
}

func TestWelchAgainstGoDSP(t *testing.T) {
	// Truth: a second implementation, go-dsp's Pwelch. It is for real samples
	// and gives one side: the sum of the density at f and −f.
	const n, rate = 512, 2e6
	x := noise(40*n, 1, random(3))
	wide := make([]float64, len(x))
	for i, v := range x {
		x[i] = complex(real(v), 0)
		wide[i] = float64(real(v))
	}
	for name, kernels := range codes() {
		for window := Hann; window.valid(); window++ {
			want, frequencies := spectral.Pwelch(wide, rate, &spectral.PwelchOptions{
				NFFT: n, Noverlap: n / 2, Window: window.Samples,
			})
			w, err := newWelch(rate, n, window, kernels)
			require.NoError(t, err)
			w.Write(x)
			d := w.Density(nil)
			for k, f := range frequencies {
				got := d[(n/2+k)%n]
				if k != 0 && k != n/2 {
					got += d[n/2-k]
				}
				require.InEpsilon(t, want[k], got, 2e-5, "%s, %v, %v Hz", name, window, f)
			}
		}
	}
}

func TestWelchKernelsAgainstPlain(t *testing.T) {
	// Truth: the two ways must be one estimator, for any number of segments,
	// and past the point where single precision is drained into double.
	if !haveLanes() {
		t.Skip("this processor has no kernels")
	}
	for n := 16; n <= 1<<15; n *= 2 {
		fast, err := newWelch(1, n, BlackmanHarris, true)
		require.NoError(t, err)
		plain, err := newWelch(1, n, BlackmanHarris, false)
		require.NoError(t, err)
		for _, segments := range []int{1, 2, 7, 8, 9, 16, 19, 8*drainEvery + 3} {
			if n*segments > 1<<20 {
				break
			}
			x := noise((segments+1)*n/2, 1, random(uint64(segments)))
			fast.Reset()
			plain.Reset()
			fast.Write(x)
			plain.Write(x)
			require.Equal(t, plain.Averages(), fast.Averages())
			want := plain.Density(nil)
			for i, v := range fast.Density(nil) {
				require.InDelta(t, want[i], v, 2e-6*(want[i]+0.1), "length %d, %d segments, value %d", n, segments, i)
			}
		}
	}
}

func TestWelchNoise(t *testing.T) {
	// Truth: theory. White noise of variance σ² has density σ²/rate, and a
	// value scatters about it with a variance of its square over Averages. In
	// a third of the trials the samples break off in the middle.
	const n, rate, variance, trials = 256, 2.4e6, 0.3, 60
	for name, kernels := range codes() {
		for window := Hann; window.valid(); window++ {
			for _, segments := range []int{5, 24} {
				for _, broken := range []bool{false, true} {
					w, err := newWelch(rate, n, window, kernels)
					require.NoError(t, err)
					rng := random(uint64(segments))
					x := make([]complex64, (segments+1)*n/2)
					var values, bands []float64
					var s Spectrum
					for range trials {
						w.Reset()
						fillNoise(x, variance, rng)
						if broken {
							w.Write(x[:len(x)/3])
							w.Flush()
							w.Write(x[len(x)/3:])
						} else {
							w.Write(x)
						}
						w.Spectrum(&s, 0)
						for _, v := range s.Density {
							values = append(values, v/(variance/rate))
						}
						for low := -1.1e6; low < 1.1e6; low += 0.1e6 {
							p, ok := s.Power(low, low+0.1e6)
							require.True(t, ok)
							bands = append(bands, p/(0.1e6*variance/rate))
						}
					}
					what := fmt.Sprintf("%s, %v, %d segments, broken %v", name, window, segments, broken)
					require.InDelta(t, 1, meanOf(values), 0.02, what)
					require.InEpsilon(t, 1/s.Averages, varianceAround(values, 1), 0.1, what)
					u := s.Uncertainty(0, 0.1e6)
					require.InEpsilon(t, u, math.Sqrt(varianceAround(bands, 1)), 0.1, what)
				}
			}
		}
	}
}

func TestWelchTone(t *testing.T) {
	// Truth: theory. A tone of amplitude a has a power of a², the integral of
	// the density over its main lobe, wherever between bins it stands.
	const n, rate = 1024, 2.4e6
	for window, halfWidth := range map[Window]float64{Hann: 16, BlackmanHarris: 4} {
		for name, kernels := range codes() {
			for _, dBFS := range []float64{0, -20, -60} {
				for _, bin := range []float64{0, 100, 100.5, -311.27, 490} {
					w, err := newWelch(rate, n, window, kernels)
					require.NoError(t, err)
					x := make([]complex64, 20*n)
					addTone(x, math.Pow(10, dBFS/20), bin/n, 0.2)
					w.Write(x)
					var s Spectrum
					w.Spectrum(&s, 100e6)
					at := 100e6 + bin*rate/n
					power, ok := s.Power(at-halfWidth*rate/n, at+halfWidth*rate/n)
					require.True(t, ok)
					require.InDelta(t, dBFS, toDB(power), 0.005, "%s, %v, bin %v", name, window, bin)
				}
			}
		}
	}
}

func TestWelchLeakage(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: theory. Away from a full-scale tone midway between two bins the
	// density is what the window's own transform says, here from gonum in
	// double precision, down to 125 dB below the peak.
	const n, pad = 1024, 2
	for name, kernels := range codes() {
		for _, window := range []Window{Hann, BlackmanHarris, Tukey} {
			w, err := newWelch(1, n, window, kernels)
			require.NoError(t, err)
			x := make([]complex64, 5*n)
			addTone(x, 1, 0.5/n, 0)
			w.Write(x)
			d := w.Density(nil)

			samples := window.Samples(n)
			padded := make([]complex128, n*pad)
			for i, v := range samples {
				padded[i] = complex(v, 0)
			}
			y := fourier.NewCmplxFFT(n*pad).Coefficients(nil, padded)
			peak := real(y[0]) * real(y[0])
			for away := 1; away < n/2; away++ {
				v := y[2*away-1] // bin `away` is away−½ bins from the tone
				want := (real(v)*real(v) + imag(v)*imag(v)) / peak
				got := d[n/2+away] * window.ENBW(n) / n
				require.InDelta(t, math.Sqrt(want), math.Sqrt(got), math.Pow(10, -125.0/20), "%s, %v, %d bins away", name, window, away)
				if window == BlackmanHarris && away > 4 {
					require.Less(t, toDB(got), -91.0, "%d bins away", away)
				}
			}
		}
	}
}

func TestWelchChunks(t *testing.T) {
	// Truth: a run of samples is one run whatever the pieces it comes in; the
	// result is the same to the last bit, and asking for it changes nothing.
	const n = 64
	x := noise(10000, 1, random(9))
	for name, kernels := range codes() {
		w, err := newWelch(1, n, Hann, kernels)
		require.NoError(t, err)
		w.Write(x)
		w.Flush()
		w.Write(x[:777])
		want, averages := w.Density(nil), w.Averages()
		rng := random(11)
		for _, most := range []int{1, 5, 63, 64, 65, 288, 289, 1000, 9999} {
			w.Reset()
			pieces := func(x []complex64) {
				for len(x) > 0 {
					m := min(len(x), 1+rng.IntN(most))
					w.Write(x[:m])
					x = x[m:]
					if rng.IntN(50) == 0 {
						w.Density(nil)
					}
				}
			}
			pieces(x)
			w.Flush()
			pieces(x[:777])
			require.Equal(t, want, w.Density(nil), "%s, up to %d", name, most)
			require.Equal(t, averages, w.Averages())
		}
	}
}

func TestWelchEmpty(t *testing.T) {
	// Truth: what the comments promise.
	for name, kernels := range codes() {
		w, err := newWelch(2.4e6, 16, Hann, kernels)
		require.NoError(t, err)
		w.Write(noise(15, 1, random(1)))
		require.True(t, math.IsNaN(w.Density(nil)[3]), name)
		require.Zero(t, w.Averages())
		w.Write(noise(1, 1, random(1)))
		require.Equal(t, 1.0, w.Averages())
		require.False(t, math.IsNaN(w.Density(nil)[3]), name)
		require.Equal(t, -1.2e6, w.StartHz())
		require.Equal(t, 150e3, w.StepHz())

		// What is no number stays in its segments' sums and goes with Reset.
		w.Write([]complex64{complex(float32(math.NaN()), 0)})
		w.Write(noise(400, 1, random(1)))
		require.True(t, math.IsNaN(w.Density(nil)[3]), name)
		w.Reset()
		w.Write(noise(10, 1, random(1)))
		w.Flush()
		w.Write(noise(400, 1, random(1)))
		require.False(t, math.IsNaN(w.Density(nil)[3]), name)
	}
}

func TestWelchRefuses(t *testing.T) {
	// Truth: what the comments promise.
	for _, c := range []struct {
		rate   float64
		n      int
		window Window
	}{
		{0, 64, Hann}, {-1, 64, Hann}, {math.NaN(), 64, Hann}, {math.Inf(1), 64, Hann},
		{1, 8, Hann}, {1, 100, Hann}, {1, 1 << 21, Hann}, {1, 0, Hann},
		{1, 64, Window(-1)}, {1, 64, Window(4)},
	} {
		_, err := NewWelch(c.rate, c.n, c.window)
		require.Error(t, err, "%+v", c)
	}
}

func TestWelchAllocatesNothing(t *testing.T) {
	// Truth: the runtime's count; steady state allocates nothing.
	for name, kernels := range codes() {
		w, err := newWelch(2.4e6, 256, Hann, kernels)
		require.NoError(t, err)
		x := noise(5000, 1, random(1))
		var s Spectrum
		w.Spectrum(&s, 0)
		require.Zero(t, testing.AllocsPerRun(50, func() {
			w.Write(x)
			w.Spectrum(&s, 0)
			w.Flush()
		}), name)
	}
}

// BenchmarkWelch works off blocks as a tuner delivers them; its MS/s against
// the dongle's 2.4 are how many times faster than real time one core is.
func BenchmarkWelch(b *testing.B) {
	const block = 1 << 16
	x := noise(block, 0.01, random(1))
	for _, n := range []int{512, 1024, 2048, 8192} {
		for name, kernels := range codes() {
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				w, err := newWelch(2.4e6, n, Hann, kernels)
				require.NoError(b, err)
				b.ReportAllocs()
				for b.Loop() {
					w.Write(x)
				}
				reportRate(b, block)
			})
		}
		b.Run(fmt.Sprintf("gonum/%d", n), func(b *testing.B) {
			wide, window := widen(x), Hann.Samples(n)
			fft := fourier.NewCmplxFFT(n)
			segment, sums := make([]complex128, n), make([]float64, n)
			for b.Loop() {
				for at := 0; at+n <= block; at += n / 2 {
					for i, v := range wide[at : at+n] {
						segment[i] = v * complex(window[i], 0)
					}
					fft.Coefficients(segment, segment)
					for k, v := range segment {
						sums[k] += real(v)*real(v) + imag(v)*imag(v)
					}
				}
			}
			reportRate(b, block)
		})
		b.Run(fmt.Sprintf("go-dsp/%d", n), func(b *testing.B) {
			wide, window := widen(x), Hann.Samples(n)
			segment, sums := make([]complex128, n), make([]float64, n)
			for b.Loop() {
				for at := 0; at+n <= block; at += n / 2 {
					for i, v := range wide[at : at+n] {
						segment[i] = v * complex(window[i], 0)
					}
					for k, v := range dspfft.FFT(segment) {
						sums[k] += real(v)*real(v) + imag(v)*imag(v)
					}
				}
			}
			reportRate(b, block)
		})
	}
}
