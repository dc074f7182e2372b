package vsb

import "math"

// JoinFits returns what two fits of one slice of a channel say together, from
// stays at different times with the same gain: the densities as their means by
// their variances, all else from the first. It is nil where one has no fit.
func JoinFits(a, b *Training) *Training {
	if a == nil || b == nil || a.Fields == 0 || b.Fields == 0 {
		return nil
	}
	out := *a
	if out.echoes == nil {
		out.echoes = b.echoes // of one that was not told to forget them
	}
	out.DataDensity, out.DataSigma = weigh(a.DataDensity, a.DataSigma, b.DataDensity, b.DataSigma)
	out.ErrorDensity, out.ErrorSigma = weighRelative(a.ErrorDensity, a.ErrorSigma, b.ErrorDensity, b.ErrorSigma)
	out.FalseAlarm = math.Min(a.FalseAlarm, b.FalseAlarm)
	out.Fields, out.Seen = a.Fields+b.Fields, a.Seen+b.Seen
	out.MERdB = 10 * math.Log10(out.DataDensity/out.ErrorDensity)
	out.MERSigmaDB = 10 / math.Ln10 * math.Hypot(out.DataSigma/out.DataDensity, out.ErrorSigma/out.ErrorDensity)
	return &out
}

// weigh returns the mean of two values by their variances, and its sigma.
func weigh(a, aSigma, b, bSigma float64) (mean, sigma float64) {
	if !(aSigma > 0 && bSigma > 0) {
		return a, aSigma
	}
	wa, wb := 1/(aSigma*aSigma), 1/(bSigma*bSigma)
	return (wa*a + wb*b) / (wa + wb), 1 / math.Sqrt(wa+wb)
}

// weighRelative is weigh for values whose sigmas are in proportion to them: by
// their relative ones, lest the lower value counts for more because it is low.
func weighRelative(a, aSigma, b, bSigma float64) (mean, sigma float64) {
	if !(a > 0 && b > 0 && aSigma > 0 && bSigma > 0) {
		return a, aSigma
	}
	wa, wb := a*a/(aSigma*aSigma), b*b/(bSigma*bSigma)
	mean = (wa*a + wb*b) / (wa + wb)
	return mean, mean / math.Sqrt(wa+wb)
}
