package psd

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDecimatorResponse(t *testing.T) {
	// Truth: theory, the filter's Fourier sum. What the spectrum needs is flat
	// within 0.05 dB over the span and 70 dB down wherever it falls into it; the
	// design is for 100 dB, and its ripple is then some 0.0001 dB.
	for _, c := range []struct {
		rate, span float64
		factor     int
	}{{2.4e6, 100e3, 12}, {2.4e6, 100e3, 9}, {20e6, 100e3, 100}, {1e6, 30e3, 16}, {2.4e6, 600e3, 2}} {
		d := newDecimator(c.rate, 0, c.span/2, c.factor, false)
		low := c.rate / float64(c.factor)
		for i := 0.0; i <= 2000; i++ {
			f := i / 2000 * c.rate / 2
			r := d.response(f / c.rate)
			switch {
			case f <= c.span/2:
				require.InDelta(t, 0, 20*math.Log10(math.Abs(r)), 0.001, "%+v at %v Hz", c, f)
			case f >= low-c.span/2:
				require.Less(t, 20*math.Log10(math.Abs(r)), -98.0, "%+v at %v Hz", c, f)
			}
		}
	}
}

func TestDecimatorAgainstPlain(t *testing.T) {
	// Truth: the two ways must be one filter; the plain one follows the
	// definition.
	if !haveLanes() {
		t.Skip("this processor has no kernels")
	}
	fast := newDecimator(2.4e6, -690e3, 50e3, 10, true)
	plain := newDecimator(2.4e6, -690e3, 50e3, 10, false)
	x := noise(4000, 1, random(1))
	a, _ := fast.feed(make([]complex64, 0, 1000), x)
	b, _ := plain.feed(make([]complex64, 0, 1000), x)
	require.Greater(t, len(a), 380)
	require.Less(t, relativeError(a, widen(b)), 1e-6)
}
