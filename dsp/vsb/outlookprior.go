package vsb

import (
	"math"
	"math/rand/v2"
)

// What is expected of a channel's paths beforehand.
const (
	looseExpected = 1.5 // paths anywhere
	closeExpected = 0.7 // paths beside each that was found

	closeSeconds = 0.12e-6 // how far those are away, on average
	lateSeconds  = 4e-6    // and the others, after the strongest
	earlySeconds = 1.5e-6  // or before it
	lateShare    = 0.6
	earlyShare   = 0.1 // the rest may be anywhere

	// The levels of paths, and of the strongest found, in dB of all that was
	// found: mean and standard deviation. They are those of the gain's
	// variance.
	pathLevelDB, pathSpreadDB = -12, 10
)

// pathPrior is the prior of a channel's paths: a Poisson process of delays.
type pathPrior struct {
	anchor    float64   // the strongest path's delay
	found     []float64 // all that were found
	low, high float64   // delays that all slices have
	mean      float64   // of the logarithm of a path's variance
}

const pathSpread = pathSpreadDB * math.Ln10 / 10

// expected is the number of paths that are expected.
func (p *pathPrior) expected() float64 {
	return looseExpected + closeExpected*float64(len(p.found))
}

// density is that of paths, per second of delay.
func (p *pathPrior) density(delay float64) float64 {
	if delay < p.low || delay > p.high {
		return 0
	}
	sum := looseExpected * (1 - lateShare - earlyShare) / (p.high - p.low)
	if d := delay - p.anchor; d > 0 {
		sum += looseExpected * lateShare / lateSeconds * math.Exp(-d/lateSeconds)
	} else {
		sum += looseExpected * earlyShare / earlySeconds * math.Exp(d/earlySeconds)
	}
	for _, f := range p.found {
		sum += closeExpected / (2 * closeSeconds) * math.Exp(-math.Abs(delay-f)/closeSeconds)
	}
	return sum
}

// draw returns a delay drawn from the density.
func (p *pathPrior) draw(rng *rand.Rand) float64 {
	x := rng.Float64() * p.expected()
	if x < looseExpected {
		switch x /= looseExpected; {
		case x < lateShare:
			return p.anchor + lateSeconds*rng.ExpFloat64()
		case x < lateShare+earlyShare:
			return p.anchor - earlySeconds*rng.ExpFloat64()
		}
		return p.low + (p.high-p.low)*rng.Float64()
	}
	f := p.found[min(len(p.found)-1, int((x-looseExpected)/closeExpected))]
	d := closeSeconds * rng.ExpFloat64()
	if rng.IntN(2) == 0 {
		d = -d
	}
	return f + d
}

// logPower is the log density of the logarithm of a path's variance, but for a
// constant.
func (p *pathPrior) logPower(v float64) float64 {
	z := (v - p.mean) / pathSpread
	return -z * z / 2
}
