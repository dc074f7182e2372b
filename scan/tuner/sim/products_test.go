package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/mjibson/go-dsp/fft"
	"github.com/stretchr/testify/require"
)

// curve is y = x + a₂x² + a₃x³ on real samples, where a power stands for a
// squared amplitude. Textbook: two equal tones of amplitude A make ¾a₃A³ at
// 2f₁−f₂ and a₂A² at f₁+f₂, which equal A at the intercepts.
func curve(x []float64, iip2, iip3 float64) []float64 {
	a2, a3 := 1/math.Sqrt(iip2), 4/(3*iip3)
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v + a2*v*v + a3*v*v*v
	}
	return y
}

// Second implementation: a memoryless cubic on time samples of three tones, its
// spectrum taken by go-dsp. Every sum and difference must have the power that
// the simulator gives it, and so IM3 = 3P − 2·IP3 and 3 dB for each dB.
func TestProductsAreThoseOfACubic(t *testing.T) {
	const n = 1 << 14
	const iip2, iip3 = 40.0, 5.0 // mW
	bins := [3]int{1231, 1777, 2417}
	powers := [3]float64{1e-3, 2e-3, 0.5e-3}
	x := make([]float64, n)
	for i := range x {
		for k, b := range bins {
			x[i] += math.Sqrt(powers[k]) * math.Cos(2*math.Pi*float64(b*i%n)/n+float64(k))
		}
	}
	spectrum := fft.FFTReal(curve(x, iip2, iip3))
	at := func(bin int) float64 {
		z := spectrum[bin]
		return (real(z)*real(z) + imag(z)*imag(z)) * 4 / n / n
	}
	var all [3]parent
	for k := range all {
		all[k] = parent{hz: float64(bins[k]) * 1e4, lowHz: float64(bins[k]) * 1e4, upHz: float64(bins[k]) * 1e4, power: powers[k]}
	}
	s := slice{centerHz: 40e6, rateHz: 400e6, scale: 1} // sees them all
	for _, times := range [][3]int{
		{2, 0, 0}, {0, 2, 0}, {1, 1, 0}, {-1, 1, 0}, {-1, 0, 1}, {0, 1, 1},
		{3, 0, 0}, {2, -1, 0}, {-1, 2, 0}, {0, 2, -1}, {2, 0, 1}, {1, 1, 1}, {1, 1, -1}, {-1, 1, 1}, {1, -1, 1}, {2, 0, -1},
	} {
		t.Run(fmt.Sprint(times), func(t *testing.T) {
			var f []factor
			bin := 0
			for k, m := range times {
				if m != 0 {
					f = append(f, factor{all[k], m})
				}
				bin += m * bins[k]
			}
			p, ok := newProduct(stage{second: iip2, third: iip3}, &s, f)
			require.True(t, ok)
			require.InDelta(t, math.Abs(float64(bin))*1e4, p.hz, 1)
			require.InDelta(t, dBm(at(max(bin, -bin))), dBm(p.power), 0.02)
		})
	}
	for _, levelDBm := range []float64{-50, -45, -40} {
		p, _ := newProduct(stage{third: milliwatts(-25)}, &s, []factor{
			{parent{hz: 30e6, power: milliwatts(levelDBm)}, 2}, {parent{hz: 31e6, power: milliwatts(levelDBm)}, -1}})
		require.InDelta(t, 3*levelDBm-2*-25, dBm(p.power), 1e-9)
	}
}

// Second implementation: the same cubic on two bands of noise. The product's
// power and its spread are those of the bands' convolution.
func TestProductsOfNoise(t *testing.T) {
	const n = 1 << 19
	const iip3 = 1e3
	rng := rand.New(rand.NewPCG(5, 6))
	low, width := [2]int{60000, 71000}, [2]int{2600, 1200} // bins
	spectrum := make([]complex128, n)
	powers := [2]float64{2, 0.7}
	for k := range low {
		for b := range width[k] {
			z := complex(rng.NormFloat64(), rng.NormFloat64()) * complex(math.Sqrt(powers[k]/float64(width[k])/2), 0)
			spectrum[low[k]+b] = z * n / 2
			spectrum[n-low[k]-b] = complex(real(z), -imag(z)) * n / 2
		}
	}
	x := make([]float64, n)
	for i, z := range fft.IFFT(spectrum) {
		x[i] = real(z)
	}
	out := fft.FFTReal(curve(x, 1e30, iip3))
	const binHz = 1e3
	var f []factor
	for k, m := range []int{2, -1} {
		hz := (float64(low[k]) + float64(width[k])/2) * binHz
		f = append(f, factor{parent{hz: hz, lowHz: hz, upHz: hz, width: float64(width[k]) * binHz, power: powers[k], noisy: true}, m})
	}
	s := slice{centerHz: 50e6, rateHz: 200e6, scale: 1}
	p, ok := newProduct(stage{third: iip3}, &s, f)
	require.True(t, ok)
	within := func(a, b float64) (sum float64) {
		for k := int(a / binHz); k < int(b/binHz); k++ {
			sum += (real(out[k])*real(out[k]) + imag(out[k])*imag(out[k])) * 4 / n / n
		}
		return sum
	}
	for _, part := range [][2]float64{{-1, 1}, {-1, -0.4}, {-0.4, -0.1}, {-0.1, 0.2}, {0.3, 0.9}} {
		a, b := p.hz+part[0]*p.reach(), p.hz+part[1]*p.reach()
		require.InDelta(t, dBm(within(a, b)), dBm(p.within(a, b)), 0.35, "%v", part)
	}
}

// Theory: what a slice shows of a product has its power and its place. FM in
// second order lands in channels 7 to 13, a difference of stations below.
func TestProductsAreHeard(t *testing.T) {
	second, third := -5.0, -20.0
	for _, c := range []struct {
		name     string
		town     func(*Town)
		centerHz float64
		wantDBm  float64 // within the slice
	}{
		{"2f of FM", func(w *Town) {
			w.Services = []Service{{Kind: "fm", FrequencyHz: 98.1e6, LevelDBm: -40}}
		}, 196.2e6, -80 - second - dBm(4)},
		{"two FM and a tone", func(w *Town) {
			w.Services = []Service{{Kind: "fm", FrequencyHz: 98.1e6, LevelDBm: -40}, {Kind: "fm", FrequencyHz: 101.3e6, LevelDBm: -42}}
			w.Tones = []Tone{{FrequencyHz: 380e6, LevelDBm: -35}}
		}, 579.4e6, -117 - 2*third + dBm(4)},
		{"two stations", func(w *Town) {
			w.Stations = []Station{{RFChannel: 20, LevelDBm: -40}, {RFChannel: 26, LevelDBm: -42}}
		}, 545e6 - 72e6, -122 - 2*third + dBm(2) + dBm(0.75*2.4/(4.5/286*684/2)-math.Pow(2.4/(4.5/286*684/2), 3)/12)},
		{"LTE and an FM carrier", func(w *Town) {
			w.Services = []Service{{Kind: "lte", FrequencyHz: 640e6, WidthHz: 10e6, LevelDBm: -30}, {Kind: "fm", FrequencyHz: 100.1e6, LevelDBm: -45}}
		}, 539.9e6, -75 - second + dBm(2.4/10)},
	} {
		t.Run(c.name, func(t *testing.T) {
			town := bench(func(w *Town) {
				w.Radio.Bits, w.Radio.NoiseFigureDB = 0, 1
				w.Radio.IIP2DBm, w.Radio.IIP3DBm = &second, &third
				c.town(w)
			})
			s := open(t, town, Options{})
			b := take(t, s, c.centerHz, 2.4e6, 49.6, 1<<17)
			d := density(t, b.Samples, 2.4e6, 256)
			var sum float64
			for _, v := range d {
				sum += v * 2.4e6 / 256
			}
			got := dBm((sum - s.stay.noise) / s.stay.scale / s.stay.scale)
			require.InDelta(t, c.wantDBm, got, 0.5)
		})
	}
}

// Theory: lowered by 10 dB, the radio's own products fall by 20 dB against the
// signal and those of the amplifier in front of it stay; Friis's formula.
func TestPreamplifier(t *testing.T) {
	third := -30.0
	level := func(town Town, gainDB float64) float64 {
		s := open(t, town, Options{})
		b := take(t, s, 560e6+24e6, 2.4e6, gainDB, 1<<15)
		d := density(t, b.Samples, 2.4e6, 1024)
		var sum float64
		for k := 500; k < 525; k++ {
			sum += d[k] * 2.4e6 / 1024
		}
		return dBm(sum / s.stay.scale / s.stay.scale)
	}
	tones := func(w *Town) {
		w.Radio.Bits, w.Radio.NoiseFigureDB = 0, 1
		w.Tones = []Tone{{FrequencyHz: 572e6, LevelDBm: -45}, {FrequencyHz: 560e6, LevelDBm: -45}}
	}
	high, low := Gains()[28], Gains()[22]
	own := bench(func(w *Town) { tones(w); w.Radio.IIP3DBm = &third })
	require.InDelta(t, -75, level(own, high), 0.1)
	require.InDelta(t, 2*(high-low), level(own, high)-level(own, low), 0.2)
	amplified := bench(func(w *Town) {
		tones(w)
		w.Preamplifier = &Preamplifier{GainDB: 15, NoiseFigureDB: 2, IIP3DBm: &third}
	})
	require.InDelta(t, -75, level(amplified, high), 0.1)
	require.InDelta(t, -75, level(amplified, low), 0.1)

	s := open(t, amplified, Options{})
	friis := milliwatts(2) + (s.town.Radio.noiseFactor(49.6, 49.6)-1)/milliwatts(15)
	require.InDelta(t, friis, s.noiseFactor(49.6), 1e-12)

	require.NoError(t, s.SetTerminated(true))
	b := take(t, s, 572e6, 2.4e6, 49.6, 1<<15)
	d := density(t, b.Samples, 2.4e6, 1024)
	require.Less(t, dBm(d[512]/d[100]), 6.0, "no tone without an antenna")
}
