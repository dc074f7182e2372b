package plot

import (
	"fmt"
	"math"
	"strconv"

	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// value is an estimate fit to be shown.
type value struct {
	v    float64
	half float64 // half the width of the 95 % interval; 0 when not known
}

// coverage turns a standard uncertainty into half a 95 % interval.
const coverage = 1.96

// known is not ok for what was not measured or is no number.
func known(e *measure.Estimate) (value, bool) {
	if e == nil || math.IsNaN(e.Value) || math.IsInf(e.Value, 0) {
		return value{}, false
	}
	half := coverage * e.Sigma
	if !(half > 0) { // NaN too
		half = 0
	}
	const most = 1e9 // beyond it nothing is a measurement, and sums overflow
	return value{math.Max(-most, math.Min(most, e.Value)), math.Min(half, 1e3)}, true
}

// roundMargin rounds to a number of decimals, but not across the edge of a
// grade: 8.7 dB is not shown as the 9 dB that it does not have.
func roundMargin(db float64, decimals int) float64 {
	step := math.Pow(10, -float64(decimals))
	r := math.Round(db/step) * step
	for _, edge := range []float64{0, verdict.SlimMarginDB, verdict.FirmMarginDB} {
		if db < edge && r >= edge {
			return edge - step
		}
	}
	return r
}

// wholeDB writes a margin in whole dB with a true minus sign.
func wholeDB(db float64) string {
	r := int(roundMargin(math.Max(-99, math.Min(99, db)), 0))
	if r < 0 {
		return "\u2212" + strconv.Itoa(-r)
	}
	return strconv.Itoa(r)
}

// twoFigures writes a margin or a ratio with two figures, which is as many as
// mean anything: tenths below 10 dB, whole dB from there. The result is five
// characters, its decimal point always in the same place.
func twoFigures(db float64, margin bool) string {
	round := func(decimals int) float64 {
		if margin {
			return roundMargin(db, decimals)
		}
		step := math.Pow(10, -float64(decimals))
		return math.Round(db/step) * step
	}
	sign := " "
	if margin {
		sign = "+"
	}
	switch {
	case db >= 99.5:
		return ">" + sign + "99 "
	case db <= -99.5:
		return "<-99 "
	}
	r := round(1)
	if r < 0 {
		sign = "-"
	}
	if math.Abs(r) < 9.95 {
		return fmt.Sprintf(" %s%.1f", sign, math.Abs(r))
	}
	return fmt.Sprintf("%s%2.0f  ", sign, math.Abs(round(0)))
}

// halfWidth writes half an interval, rounded up: tenths below 10 dB unless
// whole is set, at most four characters with the sign.
func halfWidth(half float64, whole bool, sign string) string {
	switch {
	case half < 1e-6:
		return ""
	case half > 99:
		return sign + ">99"
	case whole || half > 9.9:
		return sign + strconv.Itoa(int(math.Ceil(half-1e-9)))
	}
	return fmt.Sprintf("%s%.1f", sign, math.Ceil(half*10-1e-9)/10)
}
