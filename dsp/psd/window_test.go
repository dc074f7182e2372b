package psd

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

func TestWindowsAgainstSciPy(t *testing.T) {
	// Truth: a second implementation, scipy.signal.get_window.
	r := scipy(t)
	require.Len(t, r.Windows, 4)
	for name, want := range r.Windows {
		require.InDeltaSlice(t, want, windowNamed(t, name).Samples(len(want)), 1e-11, name)
	}
}

func TestWindowsAgainstHarris(t *testing.T) {
	// Truth: theory for sums of cosines (Harris 1978, table 1 rounds the same
	// values: Hann 1.50 and 0.50, −32 dB; four-term Blackman–Harris 2.00 and
	// 0.36, −92 dB; rectangle 1.00 and 1.00, −13 dB); for Tukey the integrals
	// of its definition.
	squares := 0.35875*0.35875 + (0.48829*0.48829+0.14128*0.14128+0.01168*0.01168)/2
	for _, c := range []struct {
		window     Window
		enbw, gain float64
		sideLobeDB float64
	}{
		{Hann, 1.5, 0.5, -31.5},
		{BlackmanHarris, squares / (0.35875 * 0.35875), 0.35875, -92},
		{Rectangular, 1, 1, -13.3},
		{Tukey, (1 - 0.2*5/8) / ((1 - 0.1) * (1 - 0.1)), 0.9, -13.5},
	} {
		require.InDelta(t, c.enbw, c.window.ENBW(1024), 1e-4, c.window)
		require.InDelta(t, c.gain, c.window.CoherentGain(1024), 1e-6, c.window)
		require.InDelta(t, c.sideLobeDB, highestSideLobe(c.window), 0.3, c.window)
	}
}

// highestSideLobe is the level in dB of the highest lobe of a window's
// transform but the main one.
func highestSideLobe(w Window) float64 {
	const n, pad = 64, 64
	x := make([]complex128, n*pad)
	for i, v := range w.Samples(n) {
		x[i] = complex(v, 0)
	}
	y := fourier.NewCmplxFFT(n*pad).Coefficients(nil, x)
	level := func(i int) float64 { return real(y[i])*real(y[i]) + imag(y[i])*imag(y[i]) }
	i := 1
	for level(i) < level(i-1) {
		i++
	}
	highest := 0.0
	for ; i < len(y)/2; i++ {
		highest = math.Max(highest, level(i))
	}
	return toDB(highest / level(0))
}

func TestOverlapCorrelation(t *testing.T) {
	// Truth: theory. Welch's c(½) is (1/6)² for Hann (Harris: 16.7 % of the
	// amplitude), ¼ for the rectangle.
	require.InDelta(t, 1.0/36, overlapCorrelation(Hann.Samples(1024), 512), 1e-6)
	require.InDelta(t, 0.25, overlapCorrelation(Rectangular.Samples(1024), 512), 1e-6)
	// Hann's neighbouring bins share (2/3)² of their noise power, those two
	// apart (1/6)², and no others any: 1.944 in all.
	require.InDelta(t, 4.0/9, binCorrelation(Hann.Samples(1024), 1), 1e-6)
	require.InDelta(t, 1.0/36, binCorrelation(Hann.Samples(1024), 2), 1e-6)
	require.InDelta(t, 0, binCorrelation(Hann.Samples(1024), 3), 1e-6)
	require.InDelta(t, 1+2*(4.0/9+1.0/36), cellBins(Hann.Samples(1024), 0), 1e-6)
}

func TestNoWindow(t *testing.T) {
	// Truth: what the comments promise.
	require.Empty(t, Hann.Samples(0))
	require.Empty(t, Window(99).Samples(8))
	require.Equal(t, "Window(99)", Window(99).String())
}
