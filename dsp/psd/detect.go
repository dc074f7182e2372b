package psd

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// FalseAlarm is the probability that noise alone exceeds ratio times its own
// density anywhere on the grid of a band bandHz wide.
//
// A value on the grid is the mean of Averages exponential variables, so a
// gamma variable; it and its neighbour, which share noise, are a pair with
// Kibble's bivariate gamma distribution. W. F. Kibble, "A two-variate gamma
// type distribution", Sankhyā 5 (1941). The grid is exceeded where the first
// value is or where one is and the value before is not; the latter events are
// rare and near enough independent.
func (z *Zoom) FalseAlarm(ratio, bandHz float64) float64 {
	m := z.Averages()
	if m == 0 || math.IsNaN(ratio) {
		return math.NaN()
	}
	if ratio <= 0 {
		return 1
	}
	rho := z.mean.neighbour / z.mean.weight2
	one := mathext.GammaIncRegComp(m, m*ratio)
	// Both: given J, negative binomial, the two are independent gammas.
	both := 0.0
	probability := math.Pow(1-rho, m)
	for j := 0.0; ; j++ {
		q := mathext.GammaIncRegComp(m+j, m*ratio/(1-rho))
		both += probability * q * q
		probability *= (m + j) / (j + 1) * rho
		// From here on the terms shrink; what is left is less than this.
		if r := (m + j + 1) / (j + 2) * rho; r < 1 && probability/(1-r) < 1e-3*(one-both) {
			break
		}
	}
	crossing := math.Max(one-both, 0) / (1 - one)
	steps := math.Max(bandHz/z.StepHz(), 0)
	return -math.Expm1(math.Log1p(-one) - steps*crossing)
}

// Threshold is the ratio to the noise density that noise alone exceeds
// anywhere in a band bandHz wide with the given probability, NaN when that is
// not between 0 and 1 or nothing was measured. The noise density must be well
// known: one averaged from k independent values adds its own scatter.
func (z *Zoom) Threshold(bandHz, falseAlarm float64) float64 {
	if !(falseAlarm > 0 && falseAlarm < 1) || z.mean.weight == 0 {
		return math.NaN()
	}
	low, high := 0.0, 1.0
	for z.FalseAlarm(high, bandHz) > falseAlarm {
		low, high = high, 2*high
	}
	for high-low > 1e-6*high {
		if mid := (low + high) / 2; z.FalseAlarm(mid, bandHz) > falseAlarm {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}
