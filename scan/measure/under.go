package measure

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// errorOf is the density of a training's error on the stitched spectrum's
// scale, in FS²/Hz, and its relative standard uncertainty.
func (v *view) errorOf(c band.Channel, t listen.Trained) (density, relative float64, ok bool) {
	if !(t.ErrorDensity > 0) {
		return 0, 0, false
	}
	// The fit saw the slice as the radio's filters left it.
	density = t.ErrorDensity * v.meanLift(c.LowerHz+t.LowHz, c.LowerHz+t.HighHz)
	return density, math.Hypot(t.ErrorSigma/t.ErrorDensity, v.folded(t)/density), true
}

// foldedShare is how much of the density beyond a slice's ends comes back into
// the part of it that a training's fit uses, spread over that: the rejection of
// dongles falls from −25 dB at 0.8 of half the rate by 1 dB for each hundredth
// inwards (measured at 1.92 MS/s), of which the fit's 0.78 has this on the mean.
const foldedShare = 1.1e-4

// foldedAt is the density that folding may add at a frequency of the stitched
// spectrum: what lies as far beyond the end of the nearest slice, rejected as
// foldedShare has it.
func (v *view) foldedAt(hz float64) float64 {
	const halfAt, rejection, slope = 0.84, -21, 100 // parts of half the rate, dB, dB for each 1
	var from *listen.Slice
	for _, s := range v.slices {
		if from == nil || math.Abs(hz-s.CenterHz*v.clock)/s.RateHz < math.Abs(hz-from.CenterHz*v.clock)/from.RateHz {
			from = s
		}
	}
	if from == nil {
		return 0
	}
	offset := hz - from.CenterHz*v.clock
	u := math.Abs(offset) / (from.RateHz / 2)
	beyond := from.CenterHz*v.clock + math.Copysign(from.RateHz-math.Abs(offset), offset)
	const aroundHz = 50e3
	d := seenOnly(v.densities(beyond-aroundHz, beyond+aroundHz))
	if len(d) < leastBins {
		d = from.Density // perhaps as strong as what was seen
	}
	return robust.Median(d) * decibel.Power(rejection+slope*(u-halfAt))
}

// folded is the density that folding may add to a training's error.
func (v *view) folded(t listen.Trained) float64 {
	const reach = 0.6 // of the rate: how far from the middle what folds in lies
	var sum float64
	for _, side := range []float64{-1, 1} {
		for _, s := range v.slices {
			if s.CenterHz != t.CenterHz {
				continue
			}
			low, high := s.CenterHz*v.clock+side*s.RateHz/2, s.CenterHz*v.clock+side*reach*s.RateHz
			beyond := seenOnly(v.densities(math.Min(low, high), math.Max(low, high)))
			if len(beyond) < leastBins {
				sum += t.DataDensity / 2 // as the slice itself
			} else {
				sum += robust.Mean(beyond) / 2
			}
			break
		}
	}
	return foldedShare * sum
}

// mer fills a Reading's modulation error ratio from its slices: data power and
// error power add up over the slices.
func (m *measurer) mer(r *Reading, trained []listen.Trained) {
	var data, errors, variance float64
	for _, t := range trained {
		r.Moving = r.Moving || t.Moving
		r.SliceMER = append(r.SliceMER, SliceMER{t.OffsetHz, Estimate{t.MERdB, t.MERSigmaDB}})
		if e, relative, ok := m.view.errorOf(r.Channel, t); ok {
			data += e * decibel.Power(t.MERdB)
			errors += e
			variance += math.Pow(e*relative, 2)
		}
	}
	if errors > 0 {
		r.MER = &Estimate{decibel.Of(data / errors), 10 / math.Ln10 * math.Sqrt(variance) / errors}
	}
}

const (
	// A slice's error is put down to more than noise when it exceeds the floor
	// by this many standard uncertainties, and by this much.
	standsOutSigma = 3.3
	standsOutDB    = 0.3
)

// under says what stands under a channel: the noise floor, or what the training
// left where that is clearly more.
func (m *measurer) under(r *Reading, noise *floor, trained []listen.Trained) *interference {
	var pieces []errorPiece
	var relatives []float64
	var sum, weight float64
	for _, t := range trained {
		if density, relative, ok := m.view.errorOf(r.Channel, t); ok {
			pieces = append(pieces, errorPiece{t.LowHz, t.HighHz, density})
			relatives = append(relatives, relative)
			sum += density / (relative * relative)
			weight += 1 / (relative * relative)
		}
	}
	if len(pieces) == 0 {
		if noise == nil {
			return nil
		}
		return &interference{floor: noise.density, relative: noise.relative}
	}
	residual := floor{sum / weight, 1 / math.Sqrt(weight), NoiseTraining}
	if noise == nil {
		noise = &residual
	}
	standsOut := func(density, relative float64) bool {
		excess := density/noise.density - 1
		return excess > standsOutSigma*math.Hypot(relative, noise.relative) && decibel.Of(1+excess) > standsOutDB
	}
	out := &interference{floor: noise.density, relative: noise.relative}
	evenly := standsOut(residual.density, residual.relative)
	var variance float64
	stands := false
	for i, p := range pieces {
		if evenly || standsOut(p.density, relatives[i]) {
			p.density = math.Max(p.density, noise.density)
			variance += math.Pow(relatives[i]/float64(len(pieces)), 2)
			stands = true
		} else {
			p.density = noise.density
		}
		out.pieces = append(out.pieces, p)
	}
	if stands {
		out.relative = math.Hypot(math.Sqrt(variance), noise.relative)
		return out
	}
	out.pieces = nil
	return out
}
