package scan

import (
	"context"
	"math"
	"rooftone/dsp/decibel"
	"rooftone/scan/tuner"
	"slices"
)

// longLadder is a number of rungs that are not all tried, the highest first.
const longLadder = 12

// climb visits a stop at the highest gain that does not overload. A dongle begins at
// the top of its ladder. A radio that has very many gains, or sees so much at once
// that neighbouring stops want much the same, begins where the last stop ended, and
// goes up where a first look promises that there is room.
func (v *visit) climb(ctx context.Context, s stop) error {
	long := len(v.gains) > longLadder
	if !long && !v.wide {
		v.rung = 0
	}
	highest := 0 // those above are known to overload
	for {
		next := v.rung
		_, err := v.stop(ctx, s, v.gains[v.rung], func(b tuner.Block) bool {
			switch last := len(v.gains) - 1; {
			case overloaded(b) && v.rung < last:
				highest, next = v.rung+1, v.rung+1
				if long || v.wide {
					next = min(v.rung+max(1, int(math.Round(excessDB(b)/gainStepDB))), last)
				}
			case v.rung > highest:
				next = max(highest, v.rung-int(roomDB(b)/gainStepDB))
			}
			return next != v.rung
		})
		if err != nil || next == v.rung {
			return err
		}
		v.rung = next
	}
}

// overloaded reports whether too many samples touch a rail.
func overloaded(b tuner.Block) bool {
	return float64(b.Clipped) > overloadShare*float64(len(b.Samples))
}

// excessDB is by how much the gain is too high for noise of which so many samples are
// at a rail: I or Q beyond 1 in a share of 1 − (1 − 2Q(1/σ))².
func excessDB(b tuner.Block) float64 {
	share := min(float64(b.Clipped)/float64(max(1, len(b.Samples))), 0.999)
	deviation := 1 / (math.Sqrt2 * math.Erfcinv(1-math.Sqrt(1-share)))
	return math.Max(0, decibel.Of(2*deviation*deviation)-fullDBFS)
}

// fullDBFS is the power of noise that is at the rails in one sample of a thousand: I and
// Q then end at 3.48 of their deviations.
const fullDBFS = -7.8

// roomDB is by how much the gain may be raised until noise of that power is at the
// rails in one sample of a thousand; 0 for none.
func roomDB(b tuner.Block) float64 {
	var power float64
	for _, z := range b.Samples {
		power += float64(real(z)*real(z) + imag(z)*imag(z))
	}
	const least = 1e-12
	return math.Max(0, fullDBFS-decibel.Of(power/float64(max(1, len(b.Samples)))+least))
}

// gainLadder is the gains to try, the highest first: the one that was asked
// for, or the radio's highest and what lies one or more steps below.
func (v *visit) gainLadder() []float64 {
	if v.GainDB != nil {
		return []float64{*v.GainDB}
	}
	if len(v.info.GainsDB) == 0 {
		return []float64{tuner.UnknownGain()}
	}
	top := slices.Max(v.info.GainsDB)
	ladder := []float64{top}
	for want := top - gainStepDB; want > slices.Min(v.info.GainsDB); want -= gainStepDB {
		nearest := v.info.GainsDB[0]
		for _, g := range v.info.GainsDB {
			if math.Abs(g-want) < math.Abs(nearest-want) {
				nearest = g
			}
		}
		ladder = append(ladder, nearest)
	}
	return ladder
}
