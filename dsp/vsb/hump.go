package vsb

import "math"

// A tuner that mixes straight down to 0 has noise of its own around the middle of a
// slice, of a density that falls with the distance from there. No television set has
// it, so it is no part of the error: it is found as folding is, from what the training
// leaves, and only where it is far likelier than none.

const (
	// humpAtHz is where a hump's level is told.
	humpAtHz = 100e3

	// humpFromHz is to where it rises towards the middle.
	humpFromHz = 1e3

	// humpReachHz is how far from the middle it is looked for.
	humpReachHz = 330e3

	// humpChance is the chance of taking noise for one.
	humpChance = 1e-3
)

// humpPowers are by which powers of the distance its density may fall. A recording of
// such a tuner fits 1.
var humpPowers = [len(foldingSlopes)]float64{0.6, 0.8, 1, 1.2}

// HumpShape is how the noise around a slice's middle goes with the distance from it,
// relative to 100 kHz.
func HumpShape(hz, power float64) float64 {
	return math.Pow(humpAtHz/(math.Abs(hz)+humpFromHz), power)
}

// newHump returns the hump of a slice whose middle lies in the band; nil of others.
func newHump(g *layout) *foldingEnd {
	middle := g.offsetHz - g.middleHz
	reach := (1 + g.rollOff) / g.step / 2
	if math.Abs(middle) > 0.5/g.step-humpReachHz {
		return nil
	}
	e := &foldingEnd{chance: humpChance}
	bin := 1 / (g.step * float64(g.points))
	for k := 1; float64(k)*bin <= humpReachHz; k++ {
		if k > 8 && k%2 == 1 {
			continue
		}
		for _, side := range []float64{-1, 1} {
			column := make([]complex128, g.points)
			for i := range column {
				column[i] = turn((middle + side*float64(k)*bin) * g.time(i))
			}
			e.columns = append(e.columns, column)
		}
	}
	const pieces = 1 << 12
	for k, power := range humpPowers {
		e.slopes[k] = newFoldingShape(g, pieces, reach, func(hz float64) float64 {
			return HumpShape(hz-middle, power)
		})
		for _, column := range e.columns {
			e.slopes[k].density = append(e.slopes[k].density, e.slopes[k].along(column))
		}
	}
	return e
}
