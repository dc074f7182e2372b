package hunt

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/mjibson/go-dsp/fft"
	"github.com/stretchr/testify/require"
)

// Second implementation: a memoryless series on time samples of three tones,
// its spectrum by go-dsp. What is predicted for each sum and difference is what
// the spectrum has there; so IM3 = 3P − 2·IP3.
func TestMixesAreThoseOfACubic(t *testing.T) {
	const n = 1 << 13
	const iip2, iip3 = 30.0, 4.0
	bins := [3]int{611, 887, 1213}
	powers := [3]float64{1e-3, 3e-3, 0.5e-3}
	x := make([]float64, n)
	for i := range x {
		var v float64
		for k, b := range bins {
			v += math.Sqrt(powers[k]) * math.Cos(2*math.Pi*float64(b*i%n)/n+float64(k))
		}
		// Textbook: a₂A² at f₁+f₂ and ¾a₃A³ at 2f₁−f₂ equal A at the intercepts.
		x[i] = v + v*v/math.Sqrt(iip2) + 4/(3*iip3)*v*v*v
	}
	spectrum := fft.FFTReal(x)
	var e []Emitter
	for k, b := range bins {
		e = append(e, Emitter{LowHz: float64(b) * 1e3, HighHz: float64(b) * 1e3, power: powers[k]})
	}
	found := 0
	for _, m := range mixesWhere(e, func(low, high float64) bool { return true }) {
		z := spectrum[int(math.Round(m.hz/1e3))]
		got := (real(z)*real(z) + imag(z)*imag(z)) * 4 / n / n
		want := m.strength / iip2
		if m.order == 3 {
			want = m.strength / (iip3 * iip3)
		}
		require.InDelta(t, decibel(got), decibel(want), 0.05, "%v %v", m.parents, m.times)
		found++
	}
	require.Equal(t, 3+3+6+6+6+4, found, "2f, 3f, f±f, 2f−f, 2f+f, f±f±f")
	equal := []Emitter{{power: linear(-45)}, {power: linear(-45)}}
	require.InDelta(t, 3*-45-2*-20, decibel(newMix2(equal).strength)-2*-20, 1e-9)
}

func newMix2(e []Emitter) mix { return newMix(e, []int{0, 1}, []int{2, -1}) }

// Theory: the spectrum of a product is the convolution of its parents', here
// by drawing frequencies.
func TestMixShare(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	m := mix{hz: 500e6, widths: []float64{5.4e6, 180e3, 9e6}}
	const tries = 200000
	hits := map[[2]float64]int{}
	parts := [][2]float64{{490e6, 497e6}, {497e6, 503e6}, {499e6, 501e6}, {505e6, 508e6}}
	for range tries {
		f := m.hz
		for _, w := range m.widths {
			f += w * (rng.Float64() - 0.5)
		}
		for _, p := range parts {
			if f >= p[0] && f < p[1] {
				hits[p]++
			}
		}
	}
	for _, p := range parts {
		require.InDelta(t, float64(hits[p])/tries, m.share(p[0], p[1]), 0.005, "%v", p)
	}
	line := mix{hz: 500e6, widths: []float64{0, 0, 0}}
	require.Equal(t, 1.0, line.share(499e6, 501e6))
	require.Equal(t, 0.0, line.share(501e6, 502e6))
}

// Theory, by simulation: a Gaussian signal through rails; the error that is
// uncorrelated with it, stated at the input.
func TestClipping(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	for _, powerDB := range []float64{-5, -3, 0, 6} {
		power := linear(powerDB)
		sigma := math.Sqrt(power / 2)
		var xx, xy, yy float64
		const n = 400000
		for range n {
			x := sigma * rng.NormFloat64()
			y := math.Max(-1, math.Min(1, x))
			xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
		}
		k := xy / xx
		want := 2 * (yy - k*xy) / n / (k * k)
		require.InDelta(t, decibel(want), decibel(clipping(power)), 0.4, "%g dB", powerDB)
	}
	require.Zero(t, clipping(linear(-20)))
}

// Truth: made-up rungs. What was put in is found, and nothing negative.
func TestFit(t *testing.T) {
	var r []rung
	for _, g := range []float64{1, 0.66, 0.5, 0.3, 0.16} {
		y := 2 + 0.1/g + 3*g*g
		r = append(r, rung{g, y, 0.003 * y})
	}
	w, sigma, rest := fit(r, flat, after, first, square)
	require.InDelta(t, 2, w[0], 0.05)
	require.InDelta(t, 0.1, w[1], 0.02)
	require.InDelta(t, 3, w[3], 0.1)
	require.GreaterOrEqual(t, w[2], 0.0)
	require.Less(t, rest, 1.0)
	require.Greater(t, sigma[0], 0.0)

	c := channelRungs{rungs: r}
	c.fitOwn(0.05)
	require.Equal(t, 3, c.order)
	s := slope(c.rungs, 2, 0.05)
	require.NotNil(t, s)
	require.InDelta(t, 3, s.Value, 0.05, "3 dB for each dB of gain")
}

// Truth: 28.8 MHz is the reference of the common dongles.
func TestHarmonic(t *testing.T) {
	require.Equal(t, 20, harmonic(576e6+150, 28.8e6))
	require.Zero(t, harmonic(576e6+2e3, 28.8e6))
	require.Zero(t, harmonic(100, 28.8e6))
	require.Zero(t, harmonic(576e6, 0))
}
