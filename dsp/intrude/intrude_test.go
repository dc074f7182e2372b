package intrude

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
)

// gammaSpectrum is a spectrum of noise of the given density, each value the mean
// of m exponential ones.
func gammaSpectrum(r *rand.Rand, n, m int, density func(i int) float64) *psd.Spectrum {
	s := &psd.Spectrum{StepHz: 75, Averages: float64(m), Density: make([]float64, n)}
	for i := range s.Density {
		var sum float64
		for range m {
			sum += r.ExpFloat64()
		}
		s.Density[i] = density(i) * sum / float64(m)
	}
	return s
}

// lobe is a Blackman-Harris window's power response, 1 at its top, at some bins
// from it (Harris 1978).
func lobe(bins float64) float64 {
	const n = 4096
	a := [4]float64{0.35875, 0.48829, 0.14128, 0.01168}
	var re, im float64
	for i := range n {
		x := 2 * math.Pi * float64(i) / n
		w := a[0] - a[1]*math.Cos(x) + a[2]*math.Cos(2*x) - a[3]*math.Cos(3*x)
		s, c := math.Sincos(x * bins)
		re += w * c
		im += w * s
	}
	return (re*re + im*im) / (n * n * a[0] * a[0])
}

// Truth: theory. Lines of known power between the bins are found within the
// uncertainty that is stated.
func TestLinesAreMeasured(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct{ at, ratio float64 }{{500.0, 30}, {777.3, 12}, {900.5, 300}, {1200.8, 1e6}} {
		var hz, db, n float64
		for range 20 {
			s := gammaSpectrum(r, 2000, 20, func(i int) float64 {
				d := 1e-12
				if away := float64(i) - c.at; math.Abs(away) < 12 {
					d += 1e-12 * c.ratio * lobe(away)
				}
				return d
			})
			// A line does not scatter as noise does.
			for i := range s.Density {
				if away := float64(i) - c.at; math.Abs(away) < 5 {
					scatter := s.Density[i]/(1e-12*(1+c.ratio*lobe(away))) - 1
					d := 1e-12 * c.ratio * lobe(away)
					s.Density[i] = d + 1e-12 + scatter*math.Sqrt(2*d*1e-12+1e-24)
				}
			}
			lines, err := Lines(s, 0, 2000*75, 1e-6)
			require.NoError(t, err)
			require.Len(t, lines, 1)
			l := lines[0]
			hz += math.Pow(l.Hz-c.at*75, 2)
			db += math.Pow(10*math.Log10(l.Power/(1e-12*c.ratio*noiseBins*75)), 2)
			n++
			require.Less(t, math.Abs(l.Hz-c.at*75), 10*l.SigmaHz+3)
			require.Less(t, math.Abs(l.Power-1e-12*c.ratio*noiseBins*75), 6*l.PowerSigma+0.02*l.Power)
		}
		t.Logf("bin %.1f, ratio %g: %.2f Hz, %.2f dB rms", c.at, c.ratio, math.Sqrt(hz/n), math.Sqrt(db/n))
	}
}

// Truth: theory. Noise, slopes and steps hold no lines.
func TestNoLines(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	shapes := map[string]func(i int) float64{
		"even":  func(int) float64 { return 1 },
		"slope": func(i int) float64 { return math.Exp(float64(i) / 400) },
		"steps": func(i int) float64 { return math.Pow(10, float64(i/500%3)*1.5) },
		"notch": func(i int) float64 { return 0.01 + math.Pow(math.Sin(float64(i)/100), 2) },
	}
	for name, shape := range shapes {
		for _, m := range []int{4, 7, 40} {
			for range 10 {
				lines, err := Lines(gammaSpectrum(r, 6000, m, shape), 0, 6000*75, 1e-4)
				require.NoError(t, err)
				require.Empty(t, lines, "%s, %d averages", name, m)
			}
		}
	}
	_, err := Lines(&psd.Spectrum{}, 0, 1, 0.1)
	require.Error(t, err)
	lines, err := Lines(gammaSpectrum(r, 20, 4, shapes["even"]), 0, 1e9, 1e-4)
	require.NoError(t, err)
	require.Empty(t, lines)
}

func bandOptions() BandOptions {
	return BandOptions{
		Widths: []int{2, 4, 8, 16, 32, 64}, Around: 150, Sigma: 1 / math.Sqrt(400),
		Least: 0.15, Deviations: 7, Most: 4, Apart: 2,
	}
}

// Truth: arithmetic. Bands of known place, width and height are found; noise,
// ripples and skirts are none.
func TestBands(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	noise := func(shape func(i int) float64) []float64 {
		x := make([]float64, 2560)
		for i := range x {
			x[i] = shape(i) * (1 + r.NormFloat64()/20)
		}
		return x
	}
	flat := func(int) float64 { return 1 }
	require.Empty(t, Bands(noise(flat), bandOptions()))
	require.Empty(t, Bands(noise(func(i int) float64 { return 1 + 0.8*math.Sin(float64(i)/15) }), bandOptions()))
	require.Empty(t, Bands(noise(func(i int) float64 { return math.Exp(float64(i) / 500) }), bandOptions()))
	for _, c := range []struct {
		first, last int
		height      float64
	}{{300, 302, 1}, {1000, 1009, 0.3}, {2000, 2060, 5}, {100, 140, 0.5}} {
		x := noise(func(i int) float64 {
			if i >= c.first && i <= c.last {
				return 1 + c.height
			}
			return 1
		})
		x[1500] = math.NaN()
		found := Bands(x, bandOptions())
		require.Len(t, found, 1, "%+v", c)
		slack := float64(c.last-c.first)/5 + 1.5
		require.InDelta(t, c.first, found[0].First, slack)
		require.InDelta(t, c.last, found[0].Last, slack)
		require.InEpsilon(t, c.height, found[0].Excess, 0.3)
	}
	x := noise(flat)
	for i := 500; i < 520; i++ {
		x[i] *= 3
		x[i+1000] *= 2
	}
	require.Len(t, Bands(x, bandOptions()), 2)
	require.Empty(t, Bands(nil, bandOptions()))
	require.Empty(t, Bands(make([]float64, 5), bandOptions()))
}

func BenchmarkLines(b *testing.B) {
	s := gammaSpectrum(rand.New(rand.NewPCG(1, 2)), 32768, 7, func(int) float64 { return 1 })
	for b.Loop() {
		if _, err := Lines(s, 0, 32768*75, 1e-6); err != nil {
			b.Fatal(err)
		}
	}
}
