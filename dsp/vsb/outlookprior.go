package vsb

import (
	"math"
	"math/rand/v2"
)

// What is expected of a channel's paths beforehand.
const (
	looseExpected = 1.5 // paths anywhere
	closeExpected = 1.0 // paths beside each that was found

	closeSeconds = 0.12e-6 // how far those are away, on average
	lateSeconds  = 4e-6    // and the others, after the strongest
	earlySeconds = 1.5e-6  // or before it
	lateShare    = 0.6
	earlyShare   = 0.1 // the rest may be anywhere

	// How much richer in paths a channel is than that: by a factor whose
	// logarithm has this mean and standard deviation.
	richMean, richSpread = -0.9, 1.2

	// The levels of paths, in dB of all that was found together: the channel's
	// own mean level is known to its mean and standard deviation, and paths
	// spread about it. The strongest has its own. All are those of the
	// variances that the gains have.
	levelMeanDB, levelSpreadDB = -12, 6
	pathSpreadDB               = 7
	strongestSpreadDB          = 6
)

const nepersPerDB = math.Ln10 / 10 // of power

// pathPrior is the prior of a channel's paths: a Poisson process of delays.
type pathPrior struct {
	anchor    float64   // the strongest path's delay
	found     []float64 // all that were found
	low, high float64   // delays that all slices have
	total     float64   // of their powers, as a logarithm

	rich  float64 // the channel's own, as a logarithm
	level float64 // likewise, against total
}

// expected is the number of paths that are expected in a channel of the usual
// richness.
func (p *pathPrior) expected() float64 {
	return looseExpected + closeExpected*float64(len(p.found))
}

// density is that of such a channel's paths, per second of delay.
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

// levels is the log density of the paths' variances, but for a constant.
func (p *pathPrior) levels(paths []chainPath) float64 {
	strongest := -1
	for i, path := range paths {
		if strongest < 0 || path.logPower > paths[strongest].logPower {
			strongest = i
		}
	}
	var sum float64
	for i, path := range paths {
		if i == strongest {
			sum += logNormal(path.logPower-p.total, strongestSpreadDB*nepersPerDB)
		} else {
			sum += logNormal(path.logPower-p.total-p.level, pathSpreadDB*nepersPerDB)
		}
	}
	return sum
}

// drawLevel draws the logarithm of a path's variance, and returns its log
// density.
func (p *pathPrior) drawLevel(rng *rand.Rand) (v, density float64) {
	const sigma = pathSpreadDB * nepersPerDB
	d := sigma * rng.NormFloat64()
	return p.total + p.level + d, logNormal(d, sigma)
}

// levelDensity is that of drawLevel.
func (p *pathPrior) levelDensity(v float64) float64 {
	return logNormal(v-p.total-p.level, pathSpreadDB*nepersPerDB)
}

// more is the logarithm of how much likelier one path more than count is, when
// the places are drawn from density.
func (p *pathPrior) more(count int) float64 {
	ratio := math.Log(p.expected() / float64(count+1))
	if count > 0 {
		ratio += p.rich
	}
	return ratio
}

// own is the log density of the channel's own richness and level, and of how
// many paths it has, but for a constant.
func (p *pathPrior) own(count int) float64 {
	return logNormal(p.rich-richMean, richSpread) +
		logNormal(p.level-levelMeanDB*nepersPerDB, levelSpreadDB*nepersPerDB) +
		float64(max(0, count-1))*p.rich - p.expected()*math.Exp(p.rich)
}

// logNormal is the log density of a normal variate of the given standard
// deviation, but for a constant.
func logNormal(x, sigma float64) float64 {
	return -x*x/(2*sigma*sigma) - math.Log(sigma)
}
