package vsb

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// PassBand is what is known of a radio's pass band when an outlook is drawn.
type PassBand struct {
	// Gain is its amplitude at an offset from a slice's middle, 1 in the
	// middle; nil means that nothing is known. It must not be what Knowledge
	// had divided out already.
	Gain func(offsetHz float64) float64

	// SigmaDB is how far off Gain may be.
	SigmaDB float64
}

// The shapes that an unknown pass band may have over a slice, and how far it may
// have them, in amplitude.
const (
	droopSigma  = 0.11 // at the edge of what is used: 1.1 dB
	leanSigma   = 0.03 // at a quarter of the rate: 0.3 dB
	unevenSigma = 0.015

	droopEdge = 0.925 // sin⁴(ω/2) at the edge of what is used

	passBandCount = 4
	knownReach    = 3  // samples that the copies of a known pass band are early or late
	knownPoints   = 41 // at which it is taken
	leastGain     = 0.1
)

// shape is a factor across a slice, as the sum of copies that come −2 to 2
// samples late.
type shape struct {
	sigma  float64
	copies [5]complex128
}

// shapes are sin⁴(ω/2), 1 at the edge, and sin ω and sin² ω and sin 2ω,
// ω = 2πf/rate.
func (p PassBand) shapes() [passBandCount]shape {
	droop, lean, uneven := droopSigma, leanSigma, unevenSigma
	if p.Gain != nil {
		s := math.Max(p.SigmaDB, 1e-3) * math.Ln10 / 20
		droop, lean, uneven = math.Min(droop, 2*s), math.Min(lean, s), math.Min(uneven, s)
	}
	return [...]shape{
		{droop / droopEdge, [...]complex128{1. / 16, -1. / 4, 3. / 8, -1. / 4, 1. / 16}},
		{lean, [...]complex128{0, -0.5i, 0, 0.5i, 0}},
		{uneven, [...]complex128{-0.25, 0, 0.5, 0, -0.25}},
		{uneven, [...]complex128{-0.5i, 0, 0, 0, 0.5i}},
	}
}

// copies returns, as copies that come −knownReach and more samples late, what
// the known pass band adds to a signal, in parts of what has come through it:
// 1 − 1/gain. It is nil when nothing is known.
func (p PassBand) copies(rateHz float64) ([]complex128, error) {
	if p.Gain == nil {
		return nil, nil
	}
	const count = 2*knownReach + 1
	basis := mat.NewDense(knownPoints, count, nil)
	added := mat.NewVecDense(knownPoints, nil)
	for i := range knownPoints {
		x := (2*float64(i)/(knownPoints-1) - 1) * usableShare
		gain := p.Gain(x * rateHz)
		if !(gain >= leastGain && gain <= 1/leastGain) {
			return nil, fmt.Errorf("a pass band with a gain of %g at %g Hz", gain, x*rateHz)
		}
		added.SetVec(i, 1-1/gain)
		basis.Set(i, 0, 1)
		for l := 1; l <= knownReach; l++ {
			sin, cos := math.Sincos(2 * math.Pi * x * float64(l))
			basis.Set(i, 2*l-1, cos)
			basis.Set(i, 2*l, sin)
		}
	}
	var fit mat.VecDense
	if err := fit.SolveVec(basis, added); err != nil {
		return nil, fmt.Errorf("fitting the pass band: %w", err)
	}
	out := make([]complex128, count)
	out[knownReach] = complex(fit.AtVec(0), 0)
	for l := 1; l <= knownReach; l++ {
		cos, sin := fit.AtVec(2*l-1)/2, fit.AtVec(2*l)/2
		out[knownReach-l], out[knownReach+l] = complex(cos, -sin), complex(cos, sin)
	}
	return out, nil
}
