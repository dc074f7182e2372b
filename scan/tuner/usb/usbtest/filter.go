package usbtest

import (
	"math"
	"math/cmplx"

	"rooftone/dsp/air"
)

// usualFIR is one half of the filter that the demodulator is usually given: the one
// for DAB of the maker's driver.
var usualFIR = [16]int{-54, -36, -41, -40, -32, -14, 14, 53, 101, 156, 215, 273, 327, 372, 404, 421}

// usualHalf returns half the width of the IF filter that goes with a sample rate: the
// narrowest that is no narrower, of those that its two upper edges and ten lower ones
// make; the one for whole channels beyond.
func usualHalf(rateHz float64) float64 {
	for _, width := range []float64{0.9e6, 1.2e6, 1.45e6, 1.55e6, 1.6e6, 1.7e6, 1.8e6, 1.9e6, 1.95e6, 2.05e6, 2.08e6, 2.18e6, 2.28e6, 2.33e6, 2.43e6} {
		if rateHz <= width {
			return width / 2
		}
	}
	return 3e6
}

// firHz is the response of the demodulator's filter, which runs at the crystal's
// rate, to something that far from the middle; 1 in the middle.
func firHz(half [16]int, hz float64) float64 {
	var sum, all float64
	for i, tap := range half {
		sum += float64(tap) * math.Cos(2*math.Pi*hz/crystalHz*(15.5-float64(i)))
		all += float64(tap)
	}
	if all == 0 {
		return 0
	}
	return sum / all
}

// slope is the response of a filter with edges, in hertz: 3 dB down at each, 30 dB an
// octave of the distance from its middle beyond.
func slope(hz, low, high float64) float64 {
	x := (hz - (low+high)/2) / ((high - low) / 2)
	return 1 / math.Sqrt(1+math.Pow(x*x, 5))
}

// filter returns what the filters do beyond what those do that usually go with the
// rate, which are the Air's; nil for nothing.
func (s Setting) filter() *air.FIR {
	half := usualHalf(s.RateHz)
	if s.FilterLowHz <= -half*0.99 && s.FilterHighHz >= half*0.99 && s.FIR == usualFIR {
		return nil
	}
	const n = 64
	taps := make([]complex64, n+1)
	for k := range taps {
		at := float64(k - n/2)
		var sum complex128
		for i := range 4 * n {
			f := (float64(i)+0.5)/(4*n) - 0.5
			hz := f * s.RateHz
			h := slope(hz, s.FilterLowHz, s.FilterHighHz) * firHz(s.FIR, hz) / (slope(hz, -half, half) * firHz(usualFIR, hz))
			sum += complex(min(h, 1), 0) * cmplx.Rect(1, 2*math.Pi*f*at)
		}
		window := 0.5 + 0.5*math.Cos(2*math.Pi*at/(n+2))
		taps[k] = complex64(sum / (4 * n) * complex(window, 0))
	}
	return air.NewFIR(taps)
}
