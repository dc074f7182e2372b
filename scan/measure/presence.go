package measure

import (
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/dsp/pattern"
	"rooftone/dsp/robust"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

const (
	// weakPlaceHz is how near its place a tone must be to count as a pilot
	// when its data cannot be seen.
	weakPlaceHz = listen.StationLimitHz

	// dataShowsDB is the C/N above which a pilot's data must be seen beside it.
	dataShowsDB = -12

	// dataShortDB is by how much less data than the pilot promises is still
	// put down to echoes: one as strong as the station's own path lifts the
	// pilot by 6 dB at the most, and the data by 3 on the mean. dataLongDB is by
	// how much more: a notch at the pilot, which the training would show.
	dataShortDB, dataLongDB = 7, 10

	// powerShows is the excess over the noise, relative to it, from which a
	// channel without a pilot is not called vacant: −10 dB.
	powerShows = 0.1
)

// judge decides presence, the standard, and what to doubt, from all evidence.
//
// Training or a bootstrap proves a station. Without them a tone strong enough
// that its data must show is a station only with that data, in a station's shape
// and level, beside it, and only where the training could have been missed. A
// weaker tone is a station by its exact place alone, which takes a known clock.
// Power without a pilot is never a vacant channel, and never a station on its
// own.
func (m *measurer) judge(r *Reading, e *evidence, tone *viewTone, noise *floor, plain bool) {
	switch {
	case len(e.trained) > 0:
		r.Presence, r.Standard = Present, ATSC1
		return
	case e.bootstrap != nil:
		r.Presence, r.Standard = Present, ATSC3
		return
	}
	j := &judgement{measurer: m, reading: r, evidence: e, noise: noise, plain: plain, parts: m.view.parts(r.Channel), pattern: patternOf(m.view.slices, r.Channel)}
	if noise != nil {
		j.excess = excess(j.parts, noise.density)
	}
	switch {
	case tone == nil || !tone.inPlace:
		j.withoutPilot()
	case r.Pilot.ImpliedCN.Value >= dataShowsDB || tone.dataShare() > quietShare*4:
		j.strong(tone)
	default:
		j.weak()
	}
	switch r.Presence {
	case Present:
		r.Standard = ATSC1
	case Unsure:
		r.Occupant = j.occupant()
		if e.sought && !slices.Contains(r.Suspicion, DoubtNoiseLevel) && !slices.Contains(r.Suspicion, DoubtNoClock) {
			r.Standard = OtherStandard
		}
	}
}

// judgement is one channel being judged.
type judgement struct {
	*measurer
	reading  *Reading
	evidence *evidence
	noise    *floor
	plain    bool // among the channels that a floor was read in
	parts    []part
	pattern  *pattern.Found
	excess   []float64 // of its pieces over the noise, ascending
}

func (j *judgement) doubt(p Presence, why Doubt) {
	j.reading.Presence = p
	j.reading.Suspicion = append(j.reading.Suspicion, why)
}

// middle is the median excess over the noise; 0 when nothing tells it.
func (j *judgement) middle() float64 {
	if len(j.excess) == 0 {
		return 0
	}
	return j.excess[len(j.excess)/2]
}

// filled reports whether power stands in the channel besides a line: over a
// floor that is known, or by not being like noise, in time or over frequency.
func (j *judgement) filled() bool {
	if j.plain {
		return false
	}
	if j.noise == nil || len(j.excess) == 0 || unlikeNoise(j.pattern) {
		return true
	}
	exceeds := func(x float64) bool { return x > 0 && math.Log1p(x) > 4*j.noise.relative }
	middle, high := j.middle(), j.excess[int(filledShare*float64(len(j.excess)))]
	return middle > powerShows && exceeds(middle) || high > 1 && exceeds(high) || j.uneven()
}

// uneven reports whether the channel is no even floor, or lies so far below what
// is taken for one that this cannot be.
func (j *judgement) uneven() bool {
	const below = 1
	level := make([]float64, len(j.parts))
	for i, p := range j.parts {
		level[i] = decibel.Of(p.density)
	}
	return robust.Spread(level) > 2*j.view.plainSpread() || decibel.Of(j.noise.density)-robust.Median(level) > below+4*j.noise.relative*decibel.PerNeper
}

func (j *judgement) withoutPilot() {
	r := j.reading
	switch {
	case j.filled():
		j.doubt(Unsure, DoubtNoPilot)
	case r.Pilot != nil && r.Pilot.KnownSpur != "":
		j.doubt(Vacant, DoubtSpur)
	case r.Pilot != nil:
		j.doubt(Vacant, DoubtOffPlace)
	default:
		r.Presence = Vacant
	}
}

// weak judges a tone whose data cannot be seen.
func (j *judgement) weak() {
	switch {
	case j.reading.Pilot.KnownSpur != "":
		j.doubt(Vacant, DoubtSpur)
	case j.filled() && (j.middle() > 1 || unlikeNoise(j.pattern)):
		// Twice the noise and a pilot of −12 dB at the most do not go together.
		j.doubt(Unsure, DoubtNoPilot)
	case j.clock == nil, j.clock.PPM.Sigma*1e-6*j.reading.Channel.PilotHz() > weakPlaceHz/2:
		j.doubt(Unsure, DoubtNoClock)
	default:
		j.reading.Presence = Present
	}
}

// strong judges a tone whose data must be seen, where no training was found.
func (j *judgement) strong(tone *viewTone) {
	r := j.reading
	shape := j.view.shapeOf(r.Channel)
	if shape.lacks(tone.dataOf()) || !j.evidence.mayBePilot(&tone.line) && j.middle() < 0.5 {
		if j.filled() {
			j.doubt(Unsure, DoubtNoPilot)
		} else {
			j.doubt(Vacant, j.toneDoubt())
		}
		return
	}
	if shape.shows(tone.dataOf()) && !j.evidence.missed(tone.dataOf()/math.Max(shape.noise+2*shape.noiseSigma, tone.dataOf()/1e4)) && !(j.pattern != nil && j.pattern.Repeats()) {
		r.Presence = Present // its skirt has a station's shape and level
		return
	}
	if j.noise == nil || len(j.excess) == 0 {
		j.doubt(Unsure, DoubtNoiseLevel)
		return
	}
	middle, expected := j.middle(), decibel.Power(r.Pilot.ImpliedCN.Value)
	sigma := j.noise.relative * (1 + math.Max(0, middle))
	least := expected * decibel.Power(-dataShortDB)
	// Where data should stand far out of the noise floor's uncertainty, it must.
	clear := 3 * sigma
	if expected > 8*sigma {
		clear = 4 * sigma
	}
	switch {
	case middle < least-2*sigma || middle < 2*sigma && expected > 4*sigma:
		j.doubt(Vacant, j.toneDoubt())
	case middle < least || middle < clear:
		j.doubt(Unsure, DoubtNoiseLevel)
	case j.evidence.missed(math.Min(middle, expected)):
		j.doubt(Unsure, DoubtNoTraining)
	case j.excess[len(j.excess)/5] < middle*decibel.Power(-15), middle > expected*decibel.Power(dataLongDB), unlikeNoise(j.pattern):
		// A station fills its channel evenly in frequency and in time; echoes
		// notch pieces of it, not a fifth.
		j.doubt(Unsure, DoubtShape)
	case j.clock == nil && !shape.shows(tone.dataOf()):
		j.doubt(Unsure, DoubtNoClock)
	default:
		r.Presence = Present
	}
}

func (j *judgement) toneDoubt() Doubt {
	if j.reading.Pilot.KnownSpur != "" {
		return DoubtSpur
	}
	return DoubtNoData
}

// occupant describes what fills the channel and is no station that is known;
// nil when too little of it was seen.
func (j *judgement) occupant() *Occupant {
	if len(j.parts) < 2 || !j.filled() {
		return nil
	}
	level := make([]float64, len(j.parts))
	for i, p := range j.parts {
		level[i] = decibel.Of(p.density)
	}
	sorted := slices.Clone(level)
	slices.Sort(sorted)
	top := sorted[len(sorted)*9/10]
	const within = 10 // dB: what fills it is not far below its highest
	var inside []float64
	out := &Occupant{OnShare: 1}
	for i, l := range level {
		if l < top-within || j.noise != nil && l < decibel.Of(2*j.noise.density) {
			continue
		}
		inside = append(inside, l)
		at := j.reading.Channel.LowerHz + j.parts[i].offsetHz
		half := band.WidthHz / channelParts / 2
		if out.Span.HighHz == 0 {
			out.Span.LowHz = at - half
		}
		out.Span.HighHz = at + half
	}
	if len(inside) == 0 {
		return nil
	}
	slices.Sort(inside)
	out.UnevenDB = inside[len(inside)*9/10] - inside[len(inside)/10]
	if p := j.pattern; p != nil {
		out.OnShare = p.OnShare
		if p.Repeats() {
			out.RepeatSeconds = p.RepeatSeconds
		}
	}
	return out
}
