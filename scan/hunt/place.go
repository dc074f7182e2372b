package hunt

import (
	"fmt"
	"math"
	"strconv"

	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

// clockOf is the true frequency over the radio's own and its error in ppm. Of a
// clock that nothing is known of, any error up to listen.MaxPPM is taken to be
// as likely as any other.
func clockOf(c *measure.Clock) (scale float64, ppm measure.Estimate) {
	if c == nil {
		return 1, measure.Estimate{Sigma: listen.MaxPPM / math.Sqrt(3)}
	}
	return 1 + c.PPM.Value*1e-6, c.PPM
}

// placeOf is a place on the corrected scale that is known to sigmaHz on the
// radio's own.
func placeOf(hz, sigmaHz float64, clock measure.Estimate) *measure.Estimate {
	return &measure.Estimate{Value: hz, Sigma: math.Hypot(sigmaHz, clock.Sigma*1e-6*hz)}
}

// Megahertz writes a frequency with as many digits as are known, such as
// "533.2134 MHz": the last one stands for no less than a standard uncertainty.
func Megahertz(e measure.Estimate) string { return megahertz(e.Value, e.Sigma, 4) + " MHz" }

// megahertz writes a frequency without its unit, with at most so many decimals.
func megahertz(hz, sigmaHz float64, most int) string {
	decimals := most
	if sigmaHz > 0 {
		decimals = max(0, min(most, int(math.Floor(-math.Log10(sigmaHz/1e6)))))
	}
	return strconv.FormatFloat(hz/1e6, 'f', decimals, 64)
}

// span writes a range of frequencies, such as "from 520.31 to 520.75 MHz".
func (e *examination) span(lowHz, highHz float64) string {
	sigma := e.clockPPM.Sigma * 1e-6 * highHz
	low, high := megahertz(lowHz, sigma, 2), megahertz(highHz, sigma, 2)
	if low == high {
		return fmt.Sprintf("some %.0f kHz around %s MHz", (highHz-lowHz)/1e3, low)
	}
	return "from " + low + " to " + high + " MHz"
}

// clockDoubt says how well places are known where the radio's clock is not; ""
// where it is.
func (e *examination) clockDoubt(hz float64) string {
	if e.clockKnown {
		return ""
	}
	return fmt.Sprintf("the error of the radio's clock is not known: every place is good to ±%.0f kHz", listen.MaxPPM*1e-9*hz)
}
