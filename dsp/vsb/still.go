package vsb

import "math"

// changing bounds the chance that the fields of a channel that stands still
// show anywhere what those of the last fit do.
//
// What the fit leaves of each field is matched with a path at every delay, and
// the matches' powers are added up over the fields, whatever their phases. For
// noise the sum over F fields is that of F exponential variates. A path that
// comes and goes, or turns from field to field, is not in the fit, or only with
// its mean: it stands out here long before it raises the whole residual.
func (t *Trainer) changing() float64 {
	p, g := &t.pursuit, t.layout
	fields := len(t.fields)
	if fields < 2 || len(p.taps) == 0 {
		return 1
	}
	sums := make([]float64, len(p.whole))
	rest := t.work
	for i := range t.fields {
		f := &t.fields[i]
		t.residual(rest, f)
		p.factor.solveAdjoint(rest)
		for l := range sums {
			known := g.known[f.parity][g.atomAt(l+g.firstDelay):]
			var re, im float64
			for k, b := range rest {
				a := known[2*k]
				re += real(a)*real(b) + imag(a)*imag(b)
				im += real(a)*imag(b) - imag(a)*real(b)
			}
			sums[l] += re*re + im*im
		}
	}
	var most float64
	for l, s := range sums {
		if p.whole[l] > 0 {
			most = math.Max(most, s*float64(fields)/p.whole[l])
		}
	}
	// The noise that the fit found, some 10 % of it unsure, and half steps that
	// are not independent.
	const slack = 1.2
	return math.Min(1, float64(len(sums))*math.Exp(logGamma(fields, most/t.scale/slack)))
}
