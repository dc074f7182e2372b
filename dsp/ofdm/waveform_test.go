package ofdm

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"

	"rooftone/dsp/air"
	"rooftone/dsp/psd"
)

func samplesOf(t testing.TB, w *Waveform, first int64, n int) []complex64 {
	m, err := newModulator()
	require.NoError(t, err)
	x := make([]complex64, n)
	require.NoError(t, m.samples(x, w, first))
	return x
}

func TestBootstrapParts(t *testing.T) {
	// Truth: A/321's structure C, A, B and B, C, A; that B is moved by a
	// carrier is from memory.
	w := newWaveform(t, 8, 36)
	require.Len(t, w.boot, bootLength)
	for n := range BootstrapSymbols {
		symbol := w.boot[n*bootSymbol:][:bootSymbol]
		c, a, b := symbol[:bootC], symbol[bootC:][:bootA], symbol[bootC+bootA:]
		inA, carrier := bootA-bootB, 1.
		if n > 0 {
			b, c, a = symbol[:bootB], symbol[bootB:][:bootC], symbol[bootB+bootC:]
			inA, carrier = bootA-bootC, -1
		}
		require.Len(t, a, bootA)
		require.Len(t, b, bootB)
		for i, v := range c {
			require.InDelta(t, 0, cmplx.Abs(complex128(v-a[bootA-bootC+i])), 1e-6)
		}
		moved := make([]complex128, bootB)
		for i := range moved {
			moved[i] = complex128(a[inA+i]) * turn(carrier*float64(i)/bootA)
		}
		require.InDelta(t, 1, correlation(b, moved), 1e-5)
		require.InDelta(t, 1, air.MeanPower(a), 1e-5)

		// All carriers are as strong, the others empty; shifts turn the first
		// symbol's by nothing.
		values := make([]complex128, bootA)
		for i, v := range a {
			values[i] = complex128(v)
		}
		values = fourier.NewCmplxFFT(bootA).Coefficients(nil, values)
		for k := -bootA / 2; k < bootA/2; k++ {
			want := 0.
			if k != 0 && k >= -outermost && k <= outermost {
				want = bootA / math.Sqrt(activeCarriers)
			}
			require.InDelta(t, want, cmplx.Abs(values[(k+bootA)%bootA]), 1e-3, "carrier %d", k)
		}
	}
}

func TestBody(t *testing.T) {
	// Truth: A/322's numbers for 8192 points at 6.912 MHz, from memory, and
	// theory: a guard is the symbol's end, the carriers are 16-QAM.
	require.InDelta(t, 5.833e6, bodyWidth, 1e3)
	w := newWaveform(t, 8, 36)
	require.InDelta(t, 0.05, w.FrameSeconds(), 1e-12)
	require.InDelta(t, 0.25, newWaveform(t, 8, 186).FrameSeconds(), 1e-12)
	plan := fourier.NewCmplxFFT(bodyLength)
	power := 0.
	for _, index := range []int64{0, 1, 35, 36, -1, 1 << 40} {
		frame := floorDiv(index, 36)
		first := frame*w.frameLength() + bootLength + (index-36*frame)*bodySymbol
		x := samplesOf(t, w, first, bodySymbol)
		for i, v := range x[:bodyGuard] {
			require.Equal(t, v, x[bodyLength+i])
		}
		power += air.MeanPower(x) / 6
		values := make([]complex128, bodyLength)
		for i, v := range x[bodyGuard:] {
			values[i] = complex128(v)
		}
		values = plan.Coefficients(nil, values)
		scale := math.Sqrt(10*bodyCarriers) / bodyLength
		seen := map[complex128]int{}
		for k := -bodyLength / 2; k < bodyLength/2; k++ {
			v := values[(k+bodyLength)%bodyLength] * complex(scale, 0)
			if k < -bodyCarriers/2 || k > bodyCarriers/2 {
				require.InDelta(t, 0, cmplx.Abs(v), 1e-3)
				continue
			}
			near := complex(2*math.Floor(real(v)/2)+1, 2*math.Floor(imag(v)/2)+1)
			require.InDelta(t, 0, cmplx.Abs(v-near), 1e-3)
			require.LessOrEqual(t, math.Max(math.Abs(real(near)), math.Abs(imag(near))), 3.)
			seen[near]++
		}
		require.Len(t, seen, 16)
		for _, n := range seen {
			require.InDelta(t, bodyCarriers/16, n, 5*math.Sqrt(bodyCarriers/16))
		}
	}
	require.InDelta(t, 1, power, 0.01)
}

func TestWaveformsAreTheirSeeds(t *testing.T) {
	// Truth: the definition.
	a := samplesOf(t, newWaveform(t, 1, 40), 1000, 60000)
	require.Equal(t, a, samplesOf(t, newWaveform(t, 1, 40), 1000, 60000))
	b := samplesOf(t, newWaveform(t, 2, 40), 1000, 60000)
	// The first symbol is the same, the rest has nothing to do with it.
	require.Equal(t, a[:bootSymbol-1000], b[:bootSymbol-1000])
	other := make([]complex128, 30000)
	for i := range other {
		other[i] = complex128(b[20000+i])
	}
	require.Less(t, correlation(a[20000:], other), 0.03)
	// Symbols of the body do not return in the next frame.
	w := newWaveform(t, 1, 40)
	next := samplesOf(t, w, w.frameLength()+20000, 30000)
	for i, v := range next {
		other[i] = complex128(v)
	}
	require.Less(t, correlation(a[19000:], other), 0.03)
	for _, n := range []int{-1, 0, 35, 3749} {
		_, err := NewWaveform(1, n)
		require.ErrorContains(t, err, "symbols in a frame")
	}
}

func TestDensityIsTheSpectrum(t *testing.T) {
	// Truth: the spectrum of the rendered signal, by Welch's method, over ten
	// frames of 50 ms.
	w := newWaveform(t, 5, 36)
	const rate = 8e6
	x := make([]complex64, 4_000_000)
	require.NoError(t, newRenderer(t, rate, 3e6).Render(x, w, 0, 1/rate))
	welch, err := psd.NewWelch(rate, 1024, psd.BlackmanHarris)
	require.NoError(t, err)
	welch.Write(x)
	var s psd.Spectrum
	welch.Spectrum(&s, 3e6)
	for _, c := range []struct{ low, high float64 }{{0.2e6, 0.6e6}, {0.6e6, 0.9e6}, {1e6, 2e6}, {2e6, 5e6}, {5.2e6, 5.8e6}} {
		got, ok := s.Power(c.low, c.high)
		require.True(t, ok)
		require.InEpsilon(t, w.Power(c.low, c.high), got, 0.01, "%v", c)
		sum := 0.
		const step = 1e3
		for f := c.low + step/2; f < c.high; f += step {
			sum += w.Density(f) * step
		}
		require.InEpsilon(t, w.Power(c.low, c.high), sum, 0.002)
	}
	require.InDelta(t, 1, w.Power(-1e6, 9e6), 1e-12)
	require.InDelta(t, 1, air.MeanPower(x), 0.005)
	for _, edges := range [][2]float64{{-0.9e6, -0.1e6}, {6.1e6, 6.9e6}} {
		outside, ok := s.Power(edges[0], edges[1])
		require.True(t, ok)
		require.Less(t, outside, 1e-8)
		require.Zero(t, w.Power(edges[0], edges[1]))
	}
}
