package vsb

import (
	"math"
	"math/cmplx"
)

const (
	mostPasses = 9
	settled    = 0.05 // relative change of the noise at which passes end

	// leastNoise is the least noise, relative to the data, that a covariance is
	// made with.
	leastNoise = 1e-6

	// lineShare is how much more power than all else a line may have.
	lineShare = 1e4
)

// flatDensity is the density of a transmission's data where its spectrum is
// flat, for a power of 1.
const flatDensity = DataShare / (SymbolRateHz / 2)

// passes fits the taps and the noise, each pass with the covariance that the
// one before suggests, and improves s on the way. It leaves the last fit in
// t.pursuit and returns its noise density.
func (t *Trainer) passes(x []complex64, s *sighting, know Knowledge) (float64, stepSigma, error) {
	p := &t.pursuit
	p.factor = t.first
	t.folding.suppose(0)
	// The first factor is for another signal power; so is its noise.
	noise := flatDensity / firstSNR
	model := []tap{{0, 1}}
	for pass := 1; ; pass++ {
		t.whiten(model)
		p.begin(t.fields)
		p.run(min(mostTaps, t.layout.points*len(t.fields)/3))
		t.turnToFit()
		model = p.solve()
		ratio := t.noiseRatio(noise)
		step := t.step(model)
		var power float64
		for _, m := range model {
			power += real(m.gain)*real(m.gain) + imag(m.gain)*imag(m.gain)
		}
		var steady bool
		if pass == 1 {
			t.folding.suppose(power * flatDensity)
		} else {
			steady = t.findFolding(noise, ratio, power*flatDensity)
		}
		noise *= ratio
		if steady && math.Abs(ratio-1) < settled || pass == mostPasses {
			t.scale = ratio
			return noise, step.sigma, nil
		}
		step.apply(s, t.layout)
		t.holdClock(s, know)
		s.first += t.centre(model) * t.layout.rateHz
		if err := t.collect(x, s); err != nil {
			return 0, stepSigma{}, err
		}
		noise = math.Max(noise, leastNoise*power*flatDensity)
		clear(t.matrix.a)
		t.leak.add(t.matrix, model)
		t.folding.add(t.matrix)
		t.addNoise(t.matrix, noise, s.carrierHz)
		if err := t.matrix.factor(); err != nil {
			return 0, stepSigma{}, err
		}
		p.factor = t.matrix
	}
}

// centre is the mean delay of the taps next to the anchor, over the band. With
// the anchor moved there, one tap may do for them.
//
// It is ∫ Im(h·conj(dh/dω)) over ∫|h|².
func (t *Trainer) centre(taps []tap) float64 {
	const count = 24
	g := t.layout
	var delay, power float64
	for k := range count {
		hz := ((float64(k)+0.5)/count - 0.5) / g.step
		var h, moved complex128
		for _, m := range taps {
			if max(m.delay, -m.delay) > nearSteps {
				continue
			}
			late := float64(m.delay) * g.step / 2
			v := m.gain * turn(-hz*late)
			h += v
			moved += v * complex(late, 0)
		}
		delay += real(h)*real(moved) + imag(h)*imag(moved)
		power += real(h)*real(h) + imag(h)*imag(h)
	}
	if power == 0 {
		return 0
	}
	return math.Max(-g.step/2, math.Min(g.step/2, delay/power))
}

// addNoise adds white noise to a covariance, and the lines that may be there
// at any strength: the pilot, and what the radio adds at its own frequency,
// which may grow or fade during the training.
func (t *Trainer) addNoise(c triangle, noise, carrierHz float64) {
	g := t.layout
	var mean float64
	for i := range c.n {
		row := c.row(i)
		row[i] += complex(noise, 0)
		mean += real(row[i]) / float64(c.n)
	}
	line := func(hz float64, grows bool) {
		hz -= g.middleHz
		if g.filter(hz) == 0 {
			return
		}
		v := t.work
		for i := range v {
			u := g.time(i) - trainingMiddle
			v[i] = turn(hz * u)
			if grows {
				v[i] *= complex(u/trainingMiddle, 0)
			}
		}
		for i := range c.n {
			for j, row := 0, c.row(i); j < len(row); j++ {
				row[j] += complex(lineShare*mean, 0) * v[i] * cmplx.Conj(v[j])
			}
		}
	}
	line(PilotOffsetHz, false)
	line(g.offsetHz-carrierHz, false)
	line(g.offsetHz-carrierHz, true)
}

// whiten whitens the fields and turns them to the phase of a model.
func (t *Trainer) whiten(model []tap) {
	p := &t.pursuit
	for parity := range 2 {
		p.sum(t.work, model, t.layout.known[parity])
		p.factor.solve(t.work)
		for i := range t.fields {
			if f := &t.fields[i]; f.parity == parity {
				copy(f.white, f.points)
				p.factor.solve(f.white)
				f.phase = cmplx.Phase(inner(t.work, f.white))
			}
		}
	}
}

// turnToFit turns the fields to the fit's phase, and fits again.
func (t *Trainer) turnToFit() {
	p := &t.pursuit
	for range 2 {
		for parity := range 2 {
			p.fit(t.work, parity)
			for i := range t.fields {
				if f := &t.fields[i]; f.parity == parity {
					f.phase = cmplx.Phase(inner(t.work, f.white))
				}
			}
		}
		p.again(t.fields)
	}
}

// noiseRatio is the noise that the residual shows, in units of the noise that
// the covariance was made with: Σ|C⁻¹r|² over tr P. It leaves in t.free how
// many dimensions that rests on.
func (t *Trainer) noiseRatio(noise float64) float64 {
	p := &t.pursuit
	var sum float64
	rest := t.work
	for i := range t.fields {
		t.residual(rest, &t.fields[i])
		p.factor.solveAdjoint(rest)
		sum += norm2(rest)
	}
	trace := float64(len(t.fields)) * p.factor.inverseTrace(rest)
	for j := range p.taps {
		trace -= norm2(p.back[j])
	}
	// The carrier, the clock and the fields' phases but one are real numbers:
	// each takes half a dimension.
	spent := float64(len(t.fields)+1) / 2
	if len(t.fields) == 1 {
		spent = 0.5
	}
	t.free = math.Max(1, noise*trace-spent)
	return noise * sum / t.free
}

// residual writes what the fit leaves of a field, whitened.
func (t *Trainer) residual(dst []complex128, f *fieldSync) {
	t.pursuit.fit(dst, f.parity)
	spin := cmplx.Rect(1, -f.phase)
	for i, v := range f.white {
		dst[i] = v*spin - dst[i]
	}
}
