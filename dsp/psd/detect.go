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
// rare and near enough independent. Where a partial block was averaged in, the
// values are only about gamma variables, and the true rate is up to a quarter
// more.
func (f *Fine) FalseAlarm(ratio, bandHz float64) float64 {
	m := f.Averages()
	if m == 0 || math.IsNaN(ratio) {
		return math.NaN()
	}
	if ratio <= 0 {
		return 1
	}
	if math.IsInf(ratio, 1) {
		return 0
	}
	one := mathext.GammaIncRegComp(m, m*ratio)
	steps := math.Max(bandHz/f.StepHz(), 0)
	if bound := (steps + 1) * one; bound < 1e-12 {
		return bound // too rare for what neighbours share to matter, or to be summed
	}
	if one == 0 || one >= 1 {
		return one
	}
	both := bothExceed(m, m*ratio, f.mean.neighbour/f.mean.weight2, one)
	crossing := math.Max(one-both, 0) / (1 - one)
	return -math.Expm1(math.Log1p(-one) - steps*crossing)
}

// bothExceed is the probability that two gamma variables of shape m and scale
// 1, each the sum of m squared complex normals, both exceed x when the normals
// of one are correlated with those of the other to rho, as power. One of them
// does with probability one.
func bothExceed(m, x, rho, one float64) float64 {
	// Given a count j, which is negative binomial, the two are independent.
	// Where the count's spread is wide, some sixteen places to its σ are enough
	// for the sum of so smooth a function.
	mean, sigma := m*rho/(1-rho), math.Sqrt(m*rho)/(1-rho)
	step := math.Max(1, math.Floor(sigma/16))
	shape, _ := math.Lgamma(m)
	both := 0.0
	for j := math.Max(0, math.Floor(mean-12*sigma)); ; j += step {
		upper, _ := math.Lgamma(m + j)
		lower, _ := math.Lgamma(j + 1)
		log := upper - lower - shape + m*math.Log1p(-rho)
		if j > 0 {
			log += j * math.Log(rho)
		}
		probability := math.Exp(log) * step
		q := mathext.GammaIncRegComp(m+j, x/(1-rho))
		both += probability * q * q
		// Past its peak the count's probability falls at least as fast from
		// term to term as it does here, which bounds what is left.
		fall := (m + j) / (j + 1) * rho
		if fall < 1 && probability*fall/(1-fall) <= 1e-3*math.Max(one-both, 1e-6*one) {
			return both
		}
	}
}

// Threshold is the ratio to the noise density that noise alone exceeds
// anywhere in a band bandHz wide with the given probability, NaN when that is
// not between 0 and 1 or nothing was measured. The noise density must be well
// known: one averaged from k independent values adds its own scatter.
func (f *Fine) Threshold(bandHz, falseAlarm float64) float64 {
	if !(falseAlarm > 0 && falseAlarm < 1) || f.mean.weight == 0 {
		return math.NaN()
	}
	low, high := 0.0, 1.0
	for f.FalseAlarm(high, bandHz) > falseAlarm {
		low, high = high, 2*high
	}
	for high-low > 1e-5*high {
		if mid := (low + high) / 2; f.FalseAlarm(mid, bandHz) > falseAlarm {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}
