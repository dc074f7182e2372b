package vsb

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

// rootRaisedCosine is the textbook's impulse response of a root-raised-cosine
// filter for symbols of duration 1, 1 in the flat part of its spectrum.
func rootRaisedCosine(t, rollOff float64) float64 {
	switch {
	case t == 0:
		return 1 - rollOff + 4*rollOff/math.Pi
	case math.Abs(math.Abs(4*rollOff*t)-1) < 1e-9:
		a := math.Pi / (4 * rollOff)
		return rollOff / math.Sqrt2 * ((1+2/math.Pi)*math.Sin(a) + (1-2/math.Pi)*math.Cos(a))
	}
	x := 4 * rollOff * t
	return (math.Sin(math.Pi*t*(1-rollOff)) + x*math.Cos(math.Pi*t*(1+rollOff))) / (math.Pi * t * (1 - x*x))
}

// bruteForce sums the pulses of many symbols around time t, in a slice that
// passes the whole channel and has its centre at offsetHz.
func bruteForce(levels []float32, first int64, offsetHz, t float64) complex128 {
	const fs = SymbolRateHz
	var sum complex128
	for i, level := range levels {
		dt := t - float64(first+int64(i))/fs
		// Two symbols last as long as one of a signal with this Nyquist bandwidth.
		envelope := rootRaisedCosine(dt*fs/2, RollOff) / 2
		carrier := 2 * math.Pi * (ChannelWidthHz/2 - PilotOffsetHz) * dt
		sum += complex(float64(level)*envelope, 0) * cmplx.Exp(complex(0, carrier))
	}
	toSlice := 2 * math.Pi * (PilotOffsetHz - offsetHz) * t
	return sum * cmplx.Exp(complex(0, toSlice)) * complex(math.Sqrt(2/22.5625), 0)
}

func TestRenderEqualsSumOfPulses(t *testing.T) {
	// Truth: theory, the closed form of the root-raised-cosine pulse, summed
	// in float64 over ±20000 symbols.
	w := NewWaveform(5)
	const reach = 20000
	for _, c := range []struct{ rate, offset, start float64 }{
		{20e6, 3e6, 0}, {10e6, 3.2e6, 0.1}, {16e6, 1e6, 12.5}, {16e6, 5.5e6, -0.00033},
	} {
		r, err := NewRenderer(c.rate, c.offset)
		require.NoError(t, err)
		got := make([]complex64, 4000)
		require.NoError(t, r.Render(got, w, c.start, 1/c.rate))
		middle := int64((c.start + 2000/c.rate) * SymbolRateHz)
		levels := make([]float32, 2*reach)
		w.Symbols(levels, middle-reach)
		var wrong, power float64
		for n := 0; n < len(got); n += 37 {
			at := c.start + float64(n)/c.rate
			want := bruteForce(levels, middle-reach, c.offset, at)
			pilot := cmplx.Exp(complex(0, 2*math.Pi*(PilotOffsetHz-c.offset)*at)) * complex(1.25/math.Sqrt(22.5625), 0)
			d := complex128(got[n]) - want - pilot
			wrong += real(d)*real(d) + imag(d)*imag(d)
			power += real(want)*real(want) + imag(want)*imag(want)
		}
		db := 10 * math.Log10(wrong/power)
		t.Logf("%v MS/s at %v MHz: error %.1f dB", c.rate/1e6, c.offset/1e6, db)
		require.Less(t, db, -75.0)
	}
}
