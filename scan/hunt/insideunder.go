package hunt

import (
	"fmt"
	"math"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

const (
	// underLeastDB is the least cost of what stands under a signal that is put
	// down to something. The training's own test keeps chance away.
	// Beside a second pilot less is believed.
	underLeastDB, besidePilotDB = 1.5, 0.8

	// Where a neighbour is much stronger, on the side where the error is
	// greatest, less is believed too.
	besideStrongDB = 0.6

	// Far below what decodes the training's error is less sure, and of less use.
	underLeastCNDB, weakLeastDB = 5, 3

	// partLeastDB is the same for one slice of a channel.
	partLeastDB = 3

	// neighbourDB is how much stronger than a channel its neighbour must be to
	// be the likely cause of what spills into it.
	neighbourDB = 10

	coChannelNext = "turn the antenna's back towards where the other station may be, and look whether this falls more than the signal does"
	coChannelCure = "an antenna with a narrower beam, or one whose null is turned towards the other station"
	splatterNext  = "turn the antenna so that the neighbour weakens, and look whether this falls as much"
	raisedNext    = "look again with less gain: what falls by more than the gain did is made in the receiver"
	raisedCure    = "a filter or less amplification when it is made in the receiver; else turn the antenna away from it"
	splatterCure  = "turn the neighbour down with the antenna's null; a filter helps only against a receiver's own products"
)

// sliceError is the error density that the training left in one slice of a
// channel, over the noise.
type sliceError struct {
	lowHz, highHz float64 // above the channel's lower edge
	excess        float64 // FS²/Hz over the noise floor; never below 0
	named         bool    // what has a name already is most of it
}

// underneath makes suspects of what stands under stations besides noise and
// what was found by itself: a second station, a neighbour's shoulder, a raised
// floor.
func (e *examination) underneath() []Suspect {
	var out []Suspect
	for i := range e.readings {
		r := &e.readings[i]
		if r.Presence != measure.Present || r.UnderCost == nil || r.UnderCost.Value < besideStrongDB/2 || r.UnderCost.Value < 4*r.UnderCost.Sigma || r.Moving || r.NoiseDBFS == nil {
			continue
		}
		out = append(out, e.underOf(r)...)
	}
	return out
}

// errorsOf turns a channel's MER, slice by slice, into error densities: the
// data's density in the slice, of which the response tells how it strays from
// the mean, over the MER.
func errorsOf(r *measure.Reading) []sliceError {
	noise := linear(r.NoiseDBFS.Value) / band.WidthHz
	signal := linear(r.PowerDBFS.Value) - linear(r.NoiseDBFS.Value)
	top := signal * vsb.Density(band.WidthHz/2)
	const reach = 1.01e6
	var out []sliceError
	for _, m := range r.SliceMER {
		x := sliceError{lowHz: math.Max(0, m.CenterHz-reach), highHz: math.Min(band.WidthHz, m.CenterHz+reach)}
		var sum, n float64
		for _, p := range r.Response {
			if p.OffsetHz >= x.lowHz && p.OffsetHz <= x.highHz {
				sum += linear(p.LevelDB.Value)
				n++
			}
		}
		data := top
		if n > 0 {
			data *= sum / n
		}
		x.excess = math.Max(0, data/linear(m.MER.Value)-noise)
		out = append(out, x)
	}
	return out
}

// under is what stands under one channel's signal.
type under struct {
	r         *measure.Reading
	parts     []sliceError
	noise     float64 // FS²/Hz, without impulses
	floor     float64 // the same with them
	total     float64 // of all that was under the signal at first
	most, sum float64 // of the parts' excess, the highest and the mean
	costDB    float64
	low, high float64          // from where to where it is near its highest, above the lower edge
	strong    *measure.Reading // the neighbour that it seems to come from
	second    *line            // what may be a second station's pilot
}

// underOf makes up to two suspects of what stands under one signal: what fills
// the channel evenly, and what lies on top of that in a part of it.
func (e *examination) underOf(r *measure.Reading) []Suspect {
	u := under{r: r, parts: errorsOf(r), floor: linear(r.NoiseDBFS.Value) / band.WidthHz}
	if len(u.parts) == 0 {
		return nil
	}
	u.noise = u.floor * linear(-e.pulseCostOn(r))
	e.withoutNamed(&u)
	u.total = u.floor + u.sum
	u.second = e.secondPilotOf(r)
	u.findNeighbour(e)
	var out []Suspect
	if even, ok := u.splitEven(); ok {
		s := even.suspect()
		even.secondStation(&s)
		out = append(out, s)
	}
	if s, ok := e.restOf(&u); ok {
		out = append(out, s)
	}
	return out
}

const (
	// pilotDB is by how much a station's data are stronger than its pilot.
	pilotDB = 11.3

	// pilotApart is how far off, as a factor, what a second pilot says of its
	// station may be: echoes lift and sink a pilot more than a station.
	pilotApart = 4
)

// splitEven takes what fills all of the channel alike out of the error, where
// a second pilot of the right level says that it is a station, or where it is
// strong beside what a neighbour spills into a part. Each of the two is then told
// as if it were alone.
func (u *under) splitEven() (under, bool) {
	if u.r.CN == nil {
		return under{}, false
	}
	var level []float64
	for _, p := range u.parts {
		if !p.named {
			level = append(level, p.excess)
		}
	}
	if len(level) < 2 {
		return under{}, false
	}
	least, usual := quantile(level, 0), quantile(level, 0.5)
	cost := decibel(1 + least/u.noise)
	confirmed := false
	if u.second != nil {
		expected := u.second.Power * linear(pilotDB) / (vsb.SymbolRateHz / 2)
		confirmed = cost > besidePilotDB && least > expected/pilotApart && least < expected*pilotApart
	}
	const evenShare = 2 // more than the least in the middle is something else
	usual = math.Min(usual, evenShare*least)
	beside := u.strong != nil && len(level) == len(u.parts) && u.most > 2*usual && cost >= underLeastDB
	if !confirmed && !beside {
		return under{}, false
	}
	even := under{r: u.r, noise: u.noise, floor: u.floor, total: u.total, second: u.second, most: usual, sum: usual, high: band.WidthHz}
	even.costDB = decibel(1 + usual/u.noise)
	u.second, u.most, u.sum = nil, 0, 0
	for i := range u.parts {
		p := &u.parts[i]
		p.excess = math.Max(0, p.excess-usual)
		const scatter = 0.3 // of what is even
		if p.excess < scatter*usual {
			p.excess = 0
		}
		u.most = math.Max(u.most, p.excess)
		u.sum += p.excess / float64(len(u.parts))
	}
	return even, true
}

// restOf makes a suspect of all that is left under a signal.
func (e *examination) restOf(u *under) (Suspect, bool) {
	r := u.r
	u.costDB = decibel(1 + u.sum/u.noise)
	u.findNeighbour(e)
	if !u.believed() {
		return Suspect{}, false
	}
	if u.strong == nil && e.struck(r.Channel) && uneven(u.parts) {
		// The training is a three-hundredth of the time: a pulse that falls on
		// it in one slice and on none in the others is no raised floor.
		return Suspect{}, false
	}
	s := u.suspect()
	switch {
	case u.strong != nil:
		u.splatter(&s)
	case len(u.parts) > 1 && u.high-u.low < 0.8*band.WidthHz:
		u.raisedFloor(&s)
	default:
		u.secondStation(&s)
	}
	return s, true
}

// findNeighbour finds where the error is greatest, and the neighbour that it
// seems to come from.
func (u *under) findNeighbour(e *examination) {
	u.low, u.high = raisedExtent(u.parts, u.most)
	below, above := e.beside(u.r.Channel)
	u.strong = stronger(below, above, u.r, u.low < 1e6, u.high > 5e6, u.parts)
}

// suspect is what all that stands under a signal has in common.
func (u *under) suspect() Suspect {
	r := u.r
	// The training's own estimate bounds what the slices say.
	most := (linear(r.UnderCost.Value+0.5) - 1) * u.floor
	density := math.Min(u.sum, most)
	cost := decibel(1 + density/u.noise)
	rise := -decibel(1 - math.Min(density/u.total, 0.999))
	return Suspect{
		LevelDBFS: &measure.Estimate{Value: decibel(u.sum * band.WidthHz), Sigma: 1},
		Harms: []Harm{{
			Channel: r.Channel,
			CostDB:  &measure.Estimate{Value: cost, Sigma: math.Hypot(r.UnderCost.Sigma, 0.2)},
			Breaks:  r.Margin != nil && r.Margin.Value < 0 && r.Margin.Value+rise >= 0,
		}},
		Evidence: []string{fmt.Sprintf("the training of channel %d leaves %.1f dB more than the noise floor under the signal", r.Channel.Number, cost)},
	}
}

// withoutNamed takes from the error what has a name already, so that nothing is
// named twice.
func (e *examination) withoutNamed(u *under) {
	for i := range u.parts {
		p := &u.parts[i]
		named := e.namedWithin(u.r.Channel.LowerHz+p.lowHz, u.r.Channel.LowerHz+p.highHz) / (p.highHz - p.lowHz)
		if named > p.excess/2 { // a carrier's foot is not measured whole
			named, p.named = p.excess, true
		}
		p.excess -= named
		const least = 0.07 // 0.3 dB
		if p.excess < least*u.noise {
			p.excess = 0
		}
		u.most = math.Max(u.most, p.excess)
		u.sum += p.excess / float64(len(u.parts))
	}
}

// believed reports whether it costs enough to be put down to something, which is
// less where there is other evidence.
func (u *under) believed() bool {
	if u.r.CN == nil || u.r.CN.Value < underLeastCNDB && u.costDB < weakLeastDB {
		return false
	}
	switch {
	case u.costDB >= underLeastDB, decibel(1+u.most/u.noise) >= partLeastDB:
		return true
	case u.second != nil && u.costDB > besidePilotDB:
		return true
	}
	return u.strong != nil && u.costDB > besideStrongDB
}

func (u *under) splatter(s *Suspect) {
	n, own := u.strong, u.r.Channel.Number
	s.spills(n.Channel.Number, own)
	s.Evidence = append(s.Evidence, fmt.Sprintf("channel %d is %.0f dB stronger, and the error is greatest on its side",
		n.Channel.Number, atOneGain(n)-atOneGain(u.r)))
}

// spills makes a suspect of what one channel sends into another.
func (s *Suspect) spills(from, into int) {
	s.Kind, s.Name = Splatter, fmt.Sprintf("channel %d spilling into channel %d", from, into)
	s.cause, s.into = cause{Splatter, fmt.Sprint(from)}, into
	s.Next, s.Cure = splatterNext, splatterCure
}

func (u *under) raisedFloor(s *Suspect) {
	c := u.r.Channel
	s.Kind = RaisedFloor
	s.Name = fmt.Sprintf("raised floor from %.0f to %.0f MHz under channel %d", (c.LowerHz+u.low)/1e6, (c.LowerHz+u.high)/1e6, c.Number)
	s.FrequencyHz = &measure.Estimate{Value: c.LowerHz + (u.low+u.high)/2, Sigma: (u.high - u.low) / 4} // far more than a clock's error
	s.WidthHz = u.high - u.low
	s.Evidence = append(s.Evidence, fmt.Sprintf("from %.1f to %.1f MHz above the channel's lower edge the error is up to %.1f dB above the floor, elsewhere it is not",
		u.low/1e6, u.high/1e6, decibel(1+u.most/u.noise)))
	s.Next, s.Cure = raisedNext, raisedCure
}

func (u *under) secondStation(s *Suspect) {
	s.Kind, s.Name = CoChannel, fmt.Sprintf("a second station on channel %d", u.r.Channel.Number)
	s.Evidence = append(s.Evidence, fmt.Sprintf("it fills the channel, %.0f dB below the signal", u.r.PowerDBFS.Value-decibel(u.sum*band.WidthHz)))
	if x := u.second; x != nil {
		s.Evidence = append(s.Evidence, fmt.Sprintf("a second pilot %+.0f Hz from the first, %.0f dB below it",
			x.Hz-pilotPlace(u.r), u.r.Pilot.PowerDBFS-decibel(x.Power)))
		s.FrequencyHz = &measure.Estimate{Value: x.Hz, Sigma: x.SigmaHz}
	}
	s.Next, s.Cure = coChannelNext, coChannelCure
}

// secondPilotOf returns the strongest line that may be the pilot of a second
// station on a channel, nil when there is none.
func (e *examination) secondPilotOf(r *measure.Reading) *line {
	if r.Pilot == nil {
		return nil
	}
	var best *line
	for i := range e.lines {
		x := &e.lines[i]
		if math.Abs(x.Hz-pilotPlace(r)) < secondPilotHz && (best == nil || x.Power > best.Power) {
			best = x
		}
	}
	if best == nil {
		return nil
	}
	known := *best
	known.SigmaHz = placeOf(known.Hz, known.SigmaHz, e.clockPPM).Sigma
	return &known
}

// struck reports whether impulses were found to harm a channel.
func (e *examination) struck(c band.Channel) bool {
	for _, s := range e.pulses {
		for _, h := range s.Harms {
			if h.Channel == c {
				return true
			}
		}
	}
	return false
}

// uneven reports whether the error is not much the same in all slices.
func uneven(parts []sliceError) bool {
	least, most := math.Inf(1), 0.0
	for _, p := range parts {
		least, most = math.Min(least, p.excess), math.Max(most, p.excess)
	}
	const even = 3
	return most > even*least
}

// atOneGain is a channel's power as if all were measured at one gain, dB.
func atOneGain(r *measure.Reading) float64 {
	p := r.PowerDBFS.Value
	if r.GainDB != nil {
		p -= *r.GainDB
	}
	return p
}

// raisedExtent is from where to where the error is a third or more of its most.
func raisedExtent(parts []sliceError, most float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range parts {
		if p.excess >= most/3 {
			low, high = math.Min(low, p.lowHz), math.Max(high, p.highHz)
		}
	}
	return low, high
}

// stronger is the neighbour that the error comes from, if it is much stronger
// and the error greatest on its side.
func stronger(below, above, r *measure.Reading, atLower, atUpper bool, parts []sliceError) *measure.Reading {
	first, last := parts[0].excess, parts[len(parts)-1].excess
	const uneven = 1.5
	candidate := func(n *measure.Reading, here, there float64, touches bool) bool {
		return n != nil && touches && n.PowerDBFS != nil && n.Presence == measure.Present &&
			atOneGain(n)-atOneGain(r) > neighbourDB && here > uneven*there
	}
	switch {
	case candidate(below, first, last, atLower):
		return below
	case candidate(above, last, first, atUpper):
		return above
	}
	return nil
}

// namedWithin is the power in FS² of the lines and carriers that were found in
// a range.
func (e *examination) namedWithin(lowHz, highHz float64) float64 {
	var sum float64
	for i := range e.lines {
		if x := &e.lines[i]; x.Hz >= lowHz && x.Hz < highHz {
			sum += x.Power
		}
	}
	for _, s := range e.named {
		if f := s.FrequencyHz.Value; f >= lowHz && f < highHz {
			sum += linear(s.LevelDBFS.Value)
		}
	}
	return sum
}
