package soapytest

import (
	"fmt"
	"math"

	"rooftone/scan/tuner"
)

// rulerScale is what a Ruler's numbers are divided by: a converter of 12 bits.
const rulerScale = 2048

// rulerSteps is after how many samples a Ruler counts anew.
const rulerSteps = 1999

// Ruler is a Source whose samples say what they are: I is the centre in MHz, or 1
// until the oscillator has settled, and Q counts samples, both in steps of 1/2048.
type Ruler struct {
	Settle     int // samples until the oscillator has settled
	RateSettle int // the same where the sample rate changed too

	centerHz float64
	rateHz   float64
	settling int
	number   int
}

// Tune sends it elsewhere.
func (r *Ruler) Tune(to tuner.Tuning) float64 {
	if to.CenterHz != r.centerHz {
		r.centerHz, r.settling = to.CenterHz, r.Settle
	}
	if to.RateHz != r.rateHz {
		r.rateHz, r.settling = to.RateHz, max(r.settling, r.RateSettle)
	}
	return to.GainDB
}

// Fill makes samples.
func (r *Ruler) Fill(dst []complex64) {
	for i := range dst {
		re := float32(mark(r.centerHz))
		if r.settling > 0 {
			r.settling--
			re = 1
		}
		dst[i] = complex(re/rulerScale, float32(r.number)/rulerScale)
		r.number = (r.number + 1) % rulerSteps
	}
}

// mark is the I of a centre.
func mark(centerHz float64) int { return 10 + int(math.Round(centerHz/1e6))%1990 }

// Check returns what is wrong with samples that a Ruler should have made at one
// frequency, settled and without a gap; "" when nothing is.
func Check(x []complex64, centerHz float64) string {
	if len(x) == 0 {
		return "no samples"
	}
	value := func(v float32) int { return int(math.Round(float64(v) * rulerScale)) }
	first := value(imag(x[0]))
	for n, z := range x {
		if got, want := value(real(z)), mark(centerHz); got != want {
			return fmt.Sprintf("sample %d of %d has I = %d, want %d", n, len(x), got, want)
		}
		if got, want := value(imag(z)), (first+n)%rulerSteps; got != want {
			return fmt.Sprintf("sample %d of %d has Q = %d, want %d: a gap", n, len(x), got, want)
		}
	}
	return ""
}
