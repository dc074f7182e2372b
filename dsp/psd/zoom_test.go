package psd

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

func TestZoomAgainstDefinition(t *testing.T) {
	// Truth: the definition of a tapered periodogram, summed over the full-rate
	// samples in double precision with neither filter nor decimation.
	const rate, offset, span, duration = 240e3, -69e3, 10e3, 0.02
	x := noise(rate*duration, 0.1, random(2))
	addTone(x, 0.05, (offset+1234.5)/rate, 0.3)
	for name, kernels := range codes() {
		z, err := newZoom(rate, offset, span, duration, kernels)
		require.NoError(t, err)
		z.Write(x)
		z.Flush()
		require.Equal(t, 1.0, z.Averages())
		density := z.Density(nil)
		taper := Tukey.Samples(len(x))
		squares, worst := 0.0, 0.0
		for _, v := range taper {
			squares += v * v
		}
		for i := 0; i < len(density); i += 7 {
			f := z.StartHz() + float64(i)*z.StepHz()
			var re, im float64
			for k, v := range x {
				sin, cos := math.Sincos(-2 * math.Pi * f / rate * float64(k))
				re += taper[k] * (float64(real(v))*cos - float64(imag(v))*sin)
				im += taper[k] * (float64(real(v))*sin + float64(imag(v))*cos)
			}
			want := (re*re + im*im) / (squares * rate)
			// The last sample before decimation is at most one step of the
			// slower rate from the end, which the taper hides.
			worst = math.Max(worst, math.Abs(math.Sqrt(density[i])-math.Sqrt(want)))
		}
		require.Less(t, worst, 0.01*math.Sqrt(0.1/rate), name)
	}
}

func TestZoomKernelsAgainstPlain(t *testing.T) {
	// Truth: the two ways must be one estimator.
	if !haveLanes() {
		t.Skip("this processor has no kernels")
	}
	x := noise(100_000, 1, random(5))
	var densities [2][]float64
	for i := range densities {
		z, err := newZoom(2.4e6, 690e3, 100e3, 0.01, i == 1)
		require.NoError(t, err)
		z.Write(x)
		z.Flush()
		densities[i] = z.Density(nil)
	}
	for i, want := range densities[0] {
		require.InDelta(t, want, densities[1][i], 2e-6*want+1e-6/2.4e6)
	}
}

func TestZoomNoise(t *testing.T) {
	// Truth: theory. White noise of variance σ² has density σ²/rate across the
	// span, with a variance of its square over Averages; noise averaged over a
	// band scatters as CellHz says.
	const rate, variance = 2.4e6, 0.02
	for _, c := range []struct {
		duration float64
		samples  int
		averages float64
	}{
		{0.005, 12000, 1},
		{0.005, 3*12000 + 100, 3},
		{0.002, 4*4800 + 3600, 4.75 * 4.75 / (4 + 0.75*0.75)}, // a partial block at the end
	} {
		z, err := NewZoom(rate, 300e3, 100e3, c.duration)
		require.NoError(t, err)
		var values, means []float64
		rng := random(uint64(c.samples))
		x := make([]complex64, c.samples)
		for range 120 {
			z.Reset()
			fillNoise(x, variance, rng)
			z.Write(x)
			z.Flush()
			require.InDelta(t, c.averages, z.Averages(), 0.01)
			d := z.Density(nil)
			values = append(values, d...)
			for part := range 5 {
				means = append(means, meanOf(d[part*len(d)/5:(part+1)*len(d)/5]))
			}
		}
		const want = variance / rate
		require.InEpsilon(t, want, meanOf(values), 0.015)
		require.InEpsilon(t, want*want/c.averages, varianceAround(values, want), 0.1, "%+v", c)
		if c.averages == math.Trunc(c.averages) {
			require.InEpsilon(t, math.Sqrt(z.CellHz()/(20e3*c.averages)), math.Sqrt(varianceAround(means, want))/want, 0.1, "%+v", c)
		}
	}
}

func TestZoomFlatness(t *testing.T) {
	// Truth: theory. A tone anywhere in the span keeps its power within 0.05 dB,
	// at the span's edges too.
	for _, rate := range []float64{1e6, 2.4e6, 20e6} {
		const offset, span, duration = -390e3, 100e3, 0.005
		z, err := NewZoom(rate, offset, span, duration)
		require.NoError(t, err)
		x := make([]complex64, int(rate*duration))
		for part := -0.49; part <= 0.49; part += 0.07 {
			f := offset + part*span
			clear(x)
			addTone(x, 0.5, f/rate, 0.1)
			z.Reset()
			z.Write(x)
			z.Flush()
			p, ok := z.Peak(f-1e3, f+1e3)
			require.True(t, ok)
			require.InDelta(t, toDB(0.25), toDB(z.Tone(p, 0).Power), 0.05, "rate %v, %v Hz", rate, f)
		}
	}
}

func TestZoomAliases(t *testing.T) {
	// Truth: theory. A full-scale tone outside, at every frequency that
	// decimation folds onto the middle of the span, its quarters and its edges,
	// shows 90 dB down at most.
	const rate, offset, span, duration = 2.4e6, -690e3, 100e3, 0.01
	for name, kernels := range codes() {
		z, err := newZoom(rate, offset, span, duration, kernels)
		require.NoError(t, err)
		x := make([]complex64, rate*duration)
		worst := math.Inf(-1)
		for k := 1.0; k < float64(z.filter.factor); k++ {
			for _, part := range []float64{-0.5, -0.25, 0, 0.25, 0.5} {
				clear(x)
				addTone(x, 1, (offset+part*span+k*z.rateHz)/rate, 0)
				z.Reset()
				z.Write(x)
				z.Flush()
				p, ok := z.Peak(offset-span/2, offset+span/2)
				require.True(t, ok)
				worst = math.Max(worst, toDB(p.Density*z.BandwidthHz()))
			}
		}
		require.Less(t, worst, -90.0, name)
	}
}

func TestZoomChunks(t *testing.T) {
	// Truth: a run of samples is one run whatever the pieces it comes in.
	x := noise(50_000, 1, random(3))
	for name, kernels := range codes() {
		z, err := newZoom(2.4e6, 100e3, 100e3, 0.004, kernels)
		require.NoError(t, err)
		z.Write(x)
		z.Flush()
		z.Write(x[:20_000])
		z.Flush()
		want, averages := z.Density(nil), z.Averages()
		rng := random(4)
		for _, most := range []int{1, 100, 4096, 49_999} {
			z.Reset()
			pieces := func(x []complex64) {
				for len(x) > 0 {
					m := min(len(x), 1+rng.IntN(most))
					z.Write(x[:m])
					x = x[m:]
				}
				z.Flush()
			}
			pieces(x)
			pieces(x[:20_000])
			require.Equal(t, want, z.Density(nil), "%s, up to %d", name, most)
			require.Equal(t, averages, z.Averages())
		}
	}
}

func TestZoomBlocks(t *testing.T) {
	// Truth: what the comments promise about stays and blocks.
	for _, c := range []struct {
		name     string
		rate     float64
		duration float64
		stays    []float64 // seconds
		averages float64
	}{
		{"a stay as long as the block", 2.4e6, 0.06, []float64{0.06}, 1},
		{"the same at another rate", 2.048e6, 0.06, []float64{0.06}, 1},
		{"two such stays", 2.4e6, 0.06, []float64{0.06, 0.06}, 2},
		{"several blocks in a stay", 2.4e6, 0.02, []float64{0.1}, 5},
		{"a short end is dropped", 2.4e6, 0.02, []float64{0.045}, 2},
		{"a long end is averaged in", 2.4e6, 0.02, []float64{0.055}, 2.75 * 2.75 / (2 + 0.75*0.75)},
		{"a lone stay too short", 2.4e6, 0.06, []float64{0.01}, 1},
		{"hardly any samples", 2.4e6, 0.06, []float64{1e-5}, 0},
		{"none", 2.4e6, 0.06, []float64{0}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			z, err := NewZoom(c.rate, -690e3, 100e3, c.duration)
			require.NoError(t, err)
			for _, s := range c.stays {
				z.Write(noise(int(math.Round(s*c.rate)), 1, random(1)))
				z.Flush()
			}
			require.InDelta(t, c.averages, z.Averages(), 1e-3)
			require.Equal(t, c.averages == 0, math.IsNaN(z.Density(nil)[0]))
			if len(c.stays) == 1 && c.averages > 0 {
				// Without a taper it would be one over the time; the taper
				// makes it 1.08 of that.
				time := math.Min(c.stays[0], c.duration)
				if c.averages < math.Trunc(c.averages)+0.01 {
					require.InEpsilon(t, 1.0802/time, z.BandwidthHz(), 2e-3)
				}
			}
		})
	}
}

func TestZoomGrid(t *testing.T) {
	// Truth: what the comments promise.
	z, err := NewZoom(2.4e6, -690e3, 100e3, 0.06)
	require.NoError(t, err)
	require.InDelta(t, -740e3, z.StartHz(), z.StepHz())
	require.LessOrEqual(t, z.StepHz(), 0.25/0.06)
	require.InDelta(t, z.StartHz(), math.Round(z.StartHz()/z.StepHz())*z.StepHz(), 1e-6)
	n := len(z.Density(nil))
	require.InDelta(t, -640e3, z.StartHz()+float64(n-1)*z.StepHz(), z.StepHz())
	require.InEpsilon(t, 1.0802/0.06, z.BandwidthHz(), 1e-3)

	var s Spectrum
	z.Spectrum(&s, 503e6)
	require.Equal(t, 503e6+z.StartHz(), s.StartHz)
	require.Len(t, s.Density, n)
	require.Zero(t, s.Averages)

	// Edges of the samples' band, no decimation at all, long blocks.
	for _, c := range []struct{ rate, offset, span, duration float64 }{
		{2.4e6, 1.15e6, 100e3, 0.06},
		{2.4e6, -1.15e6, 100e3, 0.5},
		{100e3, 0, 100e3, 0.01},
		{20e6, 5e6, 100e3, 0.5},
		{20e6, 0, 1e6, 0.02},
	} {
		z, err := NewZoom(c.rate, c.offset, c.span, c.duration)
		require.NoError(t, err, "%+v", c)
		x := noise(int(c.rate*0.02), c.rate, random(1))
		z.Write(x)
		z.Flush()
		require.InDelta(t, 1, meanOf(z.Density(nil)), 0.15, "%+v", c)
	}
}

func TestZoomRefuses(t *testing.T) {
	// Truth: what the comments promise.
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range [][4]float64{
		{0, 0, 1e3, 1}, {nan, 0, 1e3, 1}, {inf, 0, 1e3, 1}, {-1, 0, 1e3, 1},
		{1e6, 0, 0, 1}, {1e6, 0, nan, 1}, {1e6, nan, 1e3, 1}, {1e6, 0, 1.1e6, 1},
		{1e6, 480e3, 50e3, 1}, {1e6, -inf, 50e3, 1}, {1e6, 0, inf, 1},
		{1e6, 0, 1e3, 0.001}, {1e6, 0, 1e3, 0}, {1e6, 0, 1e3, nan}, {1e6, 0, 1e3, -1},
		{1e6, 0, 1e6, 100}, {1e6, 0, 1e3, inf}, {1e12, 0, 1e3, 0.1},
	} {
		_, err := NewZoom(c[0], c[1], c[2], c[3])
		require.Error(t, err, "%v", c)
	}
}

func TestZoomAllocatesNothing(t *testing.T) {
	// Truth: the runtime's count; steady state allocates nothing.
	for name, kernels := range codes() {
		z, err := newZoom(2.4e6, -690e3, 100e3, 0.002, kernels)
		require.NoError(t, err)
		x := noise(9000, 1, random(1))
		var s Spectrum
		z.Spectrum(&s, 0)
		require.Zero(t, testing.AllocsPerRun(20, func() {
			z.Write(x)
			z.Flush()
			z.Spectrum(&s, 0)
			z.Peak(-740e3, -640e3)
			z.Reset()
		}), name)
	}
}

func BenchmarkZoom(b *testing.B) {
	for _, rate := range []float64{2.4e6, 20e6} {
		x := noise(int(rate*0.06), 0.01, random(1))
		for name, kernels := range codes() {
			b.Run(fmt.Sprintf("%s/%gMS", name, rate/1e6), func(b *testing.B) {
				z, err := newZoom(rate, -690e3, 100e3, 0.06, kernels)
				require.NoError(b, err)
				b.ReportAllocs()
				for b.Loop() {
					z.Write(x)
					z.Flush()
				}
				reportRate(b, len(x))
			})
		}
	}
	b.Run("gonum/2.4MS", func(b *testing.B) {
		// The same resolution the short way: one transform of all samples.
		n := 144000
		x, fft := widen(noise(n, 0.01, random(1))), fourier.NewCmplxFFT(n)
		y := make([]complex128, n)
		for b.Loop() {
			fft.Coefficients(y, x)
		}
		reportRate(b, n)
	})
}
