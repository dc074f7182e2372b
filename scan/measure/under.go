package measure

import (
	"math"

	"rooftone/dsp/decibel"
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
	return density, t.ErrorSigma / t.ErrorDensity, true
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

	// imageDB is the strongest image that a tuner which mixes straight down was
	// measured to have, -28 dB, and 1 dB for what varies.
	imageDB = -27
	// imageShowsDB is the image from which a radio is known for one.
	imageShowsDB = -45
)

// image is how much of a density a slice's radio may show on the other side of its
// middle, where it is one that mixes straight down; else 0.
func (v *view) image(rateHz float64) float64 {
	if v.findHump(rateHz).level > 0 {
		return decibel.Power(imageDB)
	}
	if v.radio.knows(rateHz) {
		for _, i := range v.radio.Images {
			if !i.AtMost && i.DB > imageShowsDB {
				return decibel.Power(imageDB)
			}
		}
	}
	return 0
}

// under says what stands under a channel: the noise floor, or what the training
// left where that is clearly more.
func (m *measurer) under(r *Reading, noise *floor, trained []listen.Trained) *interference {
	var pieces []errorPiece
	var relatives []float64
	var sum, weight, image float64
	for _, t := range trained {
		if density, relative, ok := m.view.errorOf(r.Channel, t); ok {
			pieces = append(pieces, errorPiece{t.LowHz, t.HighHz, density})
			relatives = append(relatives, relative)
			sum += density / (relative * relative)
			weight += 1 / (relative * relative)
			if share := m.view.image(m.rateOf(t)); share > 0 {
				image = math.Max(image, share*density*decibel.Power(t.MERdB))
			}
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
		excess := (density-image)/noise.density - 1
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
	// What may be the radio's image is under no set's signal; how much of it is one is
	// not known.
	if excess := residual.density/noise.density - 1; image > 0 && excess > 0 {
		out.relative = math.Hypot(out.relative, math.Min(excess, image/noise.density)/2)
	}
	out.pieces = nil
	return out
}

// rateOf is the sample rate of the slice that a training was found in.
func (m *measurer) rateOf(t listen.Trained) float64 {
	for _, s := range m.view.slices {
		if s.CenterHz == t.CenterHz {
			return s.RateHz
		}
	}
	return 0
}
