package hunt

import (
	"math"

	"rooftone/dsp/intrude"
	"rooftone/dsp/psd"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

// examination is one look through what an Inside has kept, with what was
// measured of the same samples.
type examination struct {
	*Inside
	clock      float64 // true frequency over the radio's own
	clockPPM   measure.Estimate
	clockKnown bool
	readings   []measure.Reading
	passband   map[float64]measure.Passband // by sample rate
	found      map[*look][]intrude.Line     // all lines, by look, from its middle
	lines      []line                       // those that are not explained, ascending
	level      map[*look]float64            // the median density of each
	named      []Suspect                    // carriers that were found
	pulses     []Suspect                    // impulses that were found
	cochannel  []Suspect                    // second stations that were found
}

// line is a line on the corrected scale, as the middle of a slice would show
// it.
type line struct {
	intrude.Line
	from    *look
	tunedHz float64 // the place by the radio's own clock
	// offsetHz is how far from the middle of its slice it was found.
	offsetHz float64
}

func newExamination(n *Inside, clock *measure.Clock, readings []measure.Reading) *examination {
	e := &examination{Inside: n, readings: readings, clockKnown: clock != nil, passband: map[float64]measure.Passband{}, found: map[*look][]intrude.Line{}}
	e.clock, e.clockPPM = clockOf(clock)
	byRate := map[float64][]*listen.Slice{}
	for _, l := range n.looks {
		byRate[l.rateHz] = append(byRate[l.rateHz], l.slice())
	}
	// With too few slices the shape is unknown, and its SigmaDB says so: what is
	// read over the noise in part of a channel then asks for more.
	for rate, list := range byRate {
		e.passband[rate] = measure.FindPassband(list, n.channels)
	}
	e.level = map[*look]float64{}
	for _, l := range n.looks {
		e.level[l] = l.median()
	}
	e.findLines()
	return e
}

// coarse is how many values of a look's spectrum make one of slice's.
const coarse = 16

// slice is what measure looks at to find the radio's pass band.
func (l *look) slice() *listen.Slice {
	s := &listen.Slice{
		CenterHz: l.centerHz, RateHz: l.rateHz, GainDB: math.NaN(),
		StepHz: l.stepHz * coarse, Averages: l.averages * coarse / 2,
		Density: make([]float64, len(l.density)/coarse),
	}
	if l.known {
		s.GainDB = l.gainDB
	}
	for i := range s.Density {
		// A mean around the middle of the coarse value.
		var sum float64
		for k := range coarse {
			sum += float64(l.density[max(0, i*coarse+k-coarse/2)])
		}
		s.Density[i] = sum / coarse
	}
	return s
}

// median is that of a look's density, FS²/Hz.
func (l *look) median() float64 {
	work := make([]float64, len(l.density))
	for i, d := range l.density {
		work[i] = float64(d)
	}
	return quantile(work, 0.5)
}

// flat is what a density at an offset from a slice's middle is to be multiplied
// by to undo the radio's pass band.
func (e *examination) flat(offsetHz, rateHz float64) float64 {
	p := e.passband[rateHz]
	return math.Pow(10, -p.At(offsetHz, rateHz)/10)
}

// thresholdDB is the C/N at which a receiver decodes.
func (e *examination) thresholdDB() float64 {
	if e.ThresholdDB != 0 {
		return e.ThresholdDB
	}
	return measure.DefaultThresholdDB
}

// readingAt returns the Reading of the channel that a frequency lies in.
func (e *examination) readingAt(hz float64) *measure.Reading {
	for i := range e.readings {
		if r := &e.readings[i]; r.Heard() && hz >= r.Channel.LowerHz && hz < r.Channel.UpperHz() {
			return r
		}
	}
	return nil
}

// beside returns the Readings of the channels that touch one, nil where there
// is none.
func (e *examination) beside(c band.Channel) (below, above *measure.Reading) {
	for i := range e.readings {
		r := &e.readings[i]
		if !r.Heard() {
			continue
		}
		if r.Channel.UpperHz() == c.LowerHz {
			below = r
		}
		if r.Channel.LowerHz == c.UpperHz() {
			above = r
		}
	}
	return below, above
}

// of reports whether a look has the gain that a Reading was taken at.
func (l *look) of(r *measure.Reading) bool {
	if r.GainDB == nil {
		return !l.known
	}
	return l.known && math.Abs(l.gainDB-*r.GainDB) < 0.05
}

// spectrum is a look's as psd has it, from the slice's middle.
func (l *look) spectrum() *psd.Spectrum {
	s := &psd.Spectrum{StartHz: -l.rateHz / 2, StepHz: l.stepHz, Averages: l.averages, Density: make([]float64, len(l.density))}
	for i, d := range l.density {
		s.Density[i] = float64(d)
	}
	return s
}
