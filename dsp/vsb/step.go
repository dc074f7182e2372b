package vsb

import (
	"math"
)

// step is a Gauss–Newton step of the carrier and the clock.
type step struct {
	carrierHz float64
	clock     float64
	middle    float64 // seconds after the first field sync that stay where they are
	sigma     stepSigma
}

// refinedCarrierHz is how far off a carrier may be once it was refined.
const refinedCarrierHz = 1500

// stepSigma is the standard uncertainty of carrier and clock after a step.
type stepSigma struct{ carrierHz, clock float64 }

func (d step) apply(s *sighting, g *layout) {
	s.carrierHz += d.carrierHz
	s.first -= d.middle * g.rateHz * d.clock
	s.clock += d.clock
}

// step finds how the carrier and the clock should change.
//
// With m the whitened fit of a field, the carrier's derivative is that of the
// training with j2π(u−ū) before it; the clock's is the training's derivative in
// time, in proportion to the field's time from the mean of all. What the
// fields' phases and the taps' gains can explain is taken out of both.
func (t *Trainer) step(taps []tap) step {
	p := &t.pursuit
	n := t.layout.points
	var turned, moved [2][]complex128
	for k := range 2 {
		turned[k], moved[k] = make([]complex128, n), make([]complex128, n)
		p.sum(turned[k], taps, t.layout.known[k])
		for i := range turned[k] {
			turned[k][i] *= complex(0, 2*math.Pi*(t.layout.time(i)-trainingMiddle))
		}
		p.sum(moved[k], taps, t.layout.slope[k])
		p.factor.solve(turned[k])
		p.factor.solve(moved[k])
	}
	const fieldSeconds = FieldSymbols / SymbolRateHz
	out := step{middle: t.middle()}
	byCarrier := t.freed(turned, func(*fieldSync) float64 { return 1 })
	byClock := t.freed(moved, func(f *fieldSync) float64 {
		return out.middle - float64(f.order)*fieldSeconds
	})
	var aa, ab, bb, ar, br float64
	for i := range t.fields {
		t.residual(t.work, &t.fields[i])
		a, b := byCarrier[i], byClock[i]
		aa += norm2(a)
		bb += norm2(b)
		ab += real(inner(a, b))
		ar += real(inner(a, t.work))
		br += real(inner(b, t.work))
	}
	// Half of the whitened noise, whose variance is 1, is in either direction
	// of the plane.
	if det := aa*bb - ab*ab; len(t.fields) > 1 && det > 1e-6*aa*bb {
		out.carrierHz = (bb*ar - ab*br) / det
		out.clock = (aa*br - ab*ar) / det
		out.sigma = stepSigma{math.Sqrt(bb / det / 2), math.Sqrt(aa / det / 2)}
	} else if aa > 0 {
		out.carrierHz = ar / aa
		out.sigma = stepSigma{math.Sqrt(1 / aa / 2), math.NaN()}
	}
	return out
}

// middle is the fields' mean time, in seconds after the first field sync.
func (t *Trainer) middle() (seconds float64) {
	for _, f := range t.fields {
		seconds += float64(f.order) * FieldSymbols / SymbolRateHz / float64(len(t.fields))
	}
	return seconds
}

// holdClock holds the clock to what the carrier says of it. Without that, fields
// may be matched by their different paths, when those are as strong as each
// other: 0.6 µs from field to field are 26 ppm.
func (t *Trainer) holdClock(s *sighting, know Knowledge) {
	low, high := know.clockRange(s.carrierHz, refinedCarrierHz)
	if to := math.Max(low, math.Min(high, s.clock)); to != s.clock && len(t.fields) > 1 {
		step{clock: to - s.clock, middle: t.middle()}.apply(s, t.layout)
	}
}

// freed returns, for every field, a derivative without what the field's phase
// and the taps' gains explain of it. The derivative is that of the field's kind
// times a factor.
func (t *Trainer) freed(derivative [2][]complex128, factor func(*fieldSync) float64) [][]complex128 {
	p := &t.pursuit
	n := t.layout.points
	out := make([][]complex128, len(t.fields))
	var model [2][]complex128
	for k := range model {
		model[k] = make([]complex128, n)
		p.fit(model[k], k)
	}
	for i := range t.fields {
		f := &t.fields[i]
		out[i] = make([]complex128, n)
		addScaled(out[i], complex(factor(f), 0), derivative[f.parity])
	}
	// The two overlap: taking them out in turns, what is left of either
	// shrinks fast.
	column := make([]complex128, 2*n)
	for range 3 {
		clear(column)
		for i := range t.fields {
			k := t.fields[i].parity
			if m := norm2(model[k]); m > 0 {
				addScaled(out[i], complex(0, -imag(inner(model[k], out[i]))/m), model[k])
			}
			addScaled(column[k*n:(k+1)*n], p.share(k), out[i])
		}
		for _, q := range p.q[:len(p.taps)] {
			c := inner(q, column)
			for i := range t.fields {
				k := t.fields[i].parity
				addScaled(out[i], -c*p.share(k), q[k*n:(k+1)*n])
			}
		}
	}
	return out
}
