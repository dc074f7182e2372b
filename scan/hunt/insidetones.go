package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rooftone/dsp/intrude"
	"rooftone/dsp/vsb"
	"rooftone/scan/character"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

const (
	// lineChance is the probability per slice of taking noise for a line. A
	// channel has three to five slices.
	lineChance = 2e-6

	// pilotHz is how near to its station's pilot a line is the pilot itself.
	pilotHz = 330

	// imageDB is how much weaker than the line on the other side of a slice's
	// middle a line must be to be taken for its image.
	imageDB = 25

	// combHz is how near a line must be to one of the segment sync's, and
	// combDB how much stronger to be more than that.
	combHz, combDB = 160, 7

	// spurHz is how near to a harmonic of the radio's clock, on the radio's own
	// scale, a line is taken for it.
	spurHz = 400.0

	// secondPilotHz is how far apart two stations' pilots may be.
	secondPilotHz = 2000

	// Lines that lie this close and are that many are one modulated carrier.
	bunchHz, bunchLines = 15e3, 3
)

// findLines finds the lines in all looks and keeps those that no station
// explains.
func (e *examination) findLines() {
	for _, l := range e.looks {
		if l.overloaded() {
			continue
		}
		half := listen.UsableShare * l.rateHz
		found, err := intrude.Lines(l.spectrum(), -half, half, lineChance)
		if err != nil {
			continue // too short a stay has no spectrum
		}
		e.found[l] = found
	}
	var all []line
	for _, l := range e.looks {
		found := e.found[l]
		steps := l.stepLines(levels(e.source.Datatype), e.level[l])
		for _, x := range found {
			if math.Abs(x.Hz) < spikeHz || isImage(x, found) || ofSteps(x, found, steps) {
				continue
			}
			hz := (l.centerHz + x.Hz) * e.clock
			r := e.readingAt(hz)
			if r == nil || !l.of(r) || e.isFolded(l, x) {
				continue
			}
			up := e.flat(x.Hz, l.rateHz)
			k := line{Line: x, from: l, tunedHz: l.centerHz + x.Hz, offsetHz: x.Hz}
			k.Hz, k.Power, k.PowerSigma, k.Around = hz, x.Power*up, x.PowerSigma*up, x.Around*up
			if !explained(r, &k) {
				all = append(all, k)
			}
		}
	}
	slices.SortFunc(all, func(a, b line) int { return cmp.Compare(a.Hz, b.Hz) })
	e.lines = oncePerPlace(all)
}

// isImage reports whether a line is the image that the small difference of the
// radio's two branches makes of a far stronger one.
func isImage(x intrude.Line, among []intrude.Line) bool {
	for _, o := range among {
		if math.Abs(o.Hz+x.Hz) < 200 && decibel(o.Power/x.Power) > imageDB {
			return true
		}
	}
	return false
}

// stepLines is the most power in FS² that a line has which the converter's steps
// make of a stronger one, while noise of a standard deviation of σ steps fills
// them: the first term by which rounding departs from even noise has an amplitude
// of 1/π steps times exp(−2π²σ²) (Widrow 1961).
func (l *look) stepLines(levels int, median float64) float64 {
	if levels == 0 {
		return 0
	}
	step := 2 / float64(levels)
	// The median stands for noise alone: lines and stations only fill the steps
	// better.
	squared := max(median*l.rateHz/2/(step*step)-1./12, 0)
	amplitude := step / math.Pi * math.Exp(-2*math.Pi*math.Pi*squared)
	return 2 * amplitude * amplitude
}

// ofSteps reports whether a line is no more than the converter's steps make of a
// far stronger one in the same look.
func ofSteps(x intrude.Line, among []intrude.Line, most float64) bool {
	const strongerDB = 20
	return x.Power < most && slices.ContainsFunc(among, func(o intrude.Line) bool { return decibel(o.Power/x.Power) > strongerDB })
}

// oncePerPlace keeps of the lines that several slices show the one whose power
// is known best. The lines ascend.
func oncePerPlace(all []line) []line {
	var out []line
	for _, x := range all {
		if n := len(out); n > 0 && x.Hz-out[n-1].Hz < 2*pilotHz/3 && x.from != out[n-1].from {
			if o := out[n-1]; x.PowerSigma/x.Power < o.PowerSigma/o.Power {
				out[n-1] = x
			}
			continue
		}
		out = append(out, x)
	}
	return out
}

// explained reports whether a line belongs to the station on its channel: its
// pilot, or a line of the segment sync. Other standards send lines of their
// own.
func explained(r *measure.Reading, x *line) bool {
	if r.Presence != measure.Present {
		return r.Standard == measure.OtherStandard && belowChannelDB(r, x) > 20
	}
	if r.Standard == measure.ATSC3 {
		return belowChannelDB(r, x) > 25
	}
	pilot := pilotPlace(r)
	if math.Abs(x.Hz-pilot) < pilotHz {
		return true
	}
	place, power := comb(x.Hz, pilot)
	// There are hundreds of such lines in every channel: with what they add,
	// chance goes as much higher.
	chance := x.Least * (1 + power/x.BandwidthHz)
	return math.Abs(x.Hz-place) < combHz && (decibel(x.Power/(power*x.Around)) < combDB || x.Ratio < chance)
}

// belowChannelDB is by how much a line is weaker than all of its channel.
func belowChannelDB(r *measure.Reading, x *line) float64 {
	if r.PowerDBFS == nil {
		return math.Inf(-1)
	}
	return r.PowerDBFS.Value - decibel(x.Power)
}

// pilotPlace is where a station's pilot was found, or belongs.
func pilotPlace(r *measure.Reading) float64 {
	hz := r.Channel.PilotHz()
	if r.Pilot != nil {
		hz += r.Pilot.OffsetHz.Value
	}
	return hz
}

// comb returns the place nearest to hz where the segment sync, which is the
// same in every segment, makes a line, and its power for a data density of 1.
//
// With the sync's levels s = 5(1, −1, −1, 1) at the start of every segment of n
// symbols, line k has the amplitude 5/n·(1−z)(1−z²), z = exp(−2πik/n), while
// data of mean square 21 have the density 21/symbol rate.
func comb(hz, pilotHz float64) (place, power float64) {
	const step = vsb.SymbolRateHz / vsb.SegmentSymbols
	k := math.Round((hz - pilotHz) / step)
	half := math.Pi * k / vsb.SegmentSymbols
	shape := 16 * math.Pow(math.Sin(half)*math.Sin(2*half), 2)
	const level = vsb.SyncLevel * vsb.SyncLevel / float64(vsb.SegmentSymbols*vsb.SegmentSymbols)
	return pilotHz + k*step, level * shape * vsb.SymbolRateHz / vsb.LevelMeanSquare
}

// tones makes suspects of the lines that stand alone.
func (e *examination) tones() []Suspect {
	var out []Suspect
	for i := range e.lines {
		if x := &e.lines[i]; !e.bunched(i) && !e.inCarrier(x) && !e.secondPilot(x) {
			out = append(out, e.tone(x))
		}
	}
	return out
}

// bunched reports whether a line is one of several that belong together.
func (e *examination) bunched(i int) bool {
	n := 0
	for k := range e.lines {
		if math.Abs(e.lines[k].Hz-e.lines[i].Hz) < bunchHz {
			n++
		}
	}
	return n >= bunchLines
}

func (e *examination) tone(x *line) Suspect {
	place := placeOf(x.Hz, x.SigmaHz, e.clockPPM)
	s := Suspect{
		Kind:        Tone,
		Name:        "tone at " + Megahertz(*place),
		FrequencyHz: place,
		offsetHz:    x.offsetHz,
		LevelDBFS:   &measure.Estimate{Value: decibel(x.Power), Sigma: math.Hypot(10/math.Ln10*x.PowerSigma/x.Power, 0.1)},
		Next:        "find what makes it: switch off what is near the antenna, one thing after the other, and look at this frequency again",
		Cure:        "switch off, replace or shield what makes it, or move the antenna away from it",
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("a line narrower than 0.4 kHz, %.0f dB above what is around it", decibel(x.Ratio)))
	r := e.readingAt(x.Hz)
	if spur := e.ownSpur(x); spur != "" {
		s.Kind = Spur
		s.Name = "the radio's own tone at " + Megahertz(*place)
		s.Evidence = append(s.Evidence, "it is "+spur)
		s.Next = "put a 75-ohm terminator in the antenna's place: what stays is the radio's own"
		s.Cure = "none is needed: a television set does not hear it"
		return s
	}
	if doubt := e.clockDoubt(x.Hz); doubt != "" {
		s.Evidence = append(s.Evidence, doubt)
	}
	if r == nil {
		return s
	}
	if r.Presence != measure.Present {
		s.Evidence = append(s.Evidence, fmt.Sprintf("no station is on channel %d that it could harm", r.Channel.Number))
		return s
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("%.0f dB below all of channel %d, %s MHz above its lower edge",
		belowChannelDB(r, x), r.Channel.Number, megahertz(x.Hz-r.Channel.LowerHz, place.Sigma, 3)))
	e.nearPilot(&s, r, x)
	e.addHarm(&s, r, x.Power, 0)
	return s
}

// inCarrier reports whether a line is the peak of a carrier that was found: a
// modulated carrier has some.
func (e *examination) inCarrier(x *line) bool {
	for _, s := range e.named {
		if math.Abs(s.FrequencyHz.Value-x.Hz) < s.WidthHz/2+bunchHz/3 && decibel(x.Power) < s.LevelDBFS.Value+3 {
			return true
		}
	}
	return false
}

// secondPilot reports whether a line near a station's pilot is that of a second
// station: then data 11.3 dB stronger than it stand under the signal.
func (e *examination) secondPilot(x *line) bool {
	r := e.readingAt(x.Hz)
	if r == nil || r.Pilot == nil || math.Abs(x.Hz-pilotPlace(r)) > secondPilotHz {
		return false
	}
	for _, c := range e.cochannel {
		if c.Harms[0].Channel == r.Channel {
			return math.Abs(c.LevelDBFS.Value-decibel(x.Power)-pilotDB) < decibel(pilotApart)
		}
	}
	return false
}

// nearPilot says what a line near the place of a pilot may be.
func (e *examination) nearPilot(s *Suspect, r *measure.Reading, x *line) {
	away := x.Hz - pilotPlace(r)
	if math.Abs(away) > secondPilotHz || r.Pilot == nil {
		return
	}
	below := r.Pilot.PowerDBFS - decibel(x.Power)
	s.Evidence = append(s.Evidence, fmt.Sprintf("only %+.0f Hz from the station's pilot: it may be the pilot of a second station %.0f dB weaker", away, below))
}

// ownSpur names the tone of the radio's own that a line is, if it is one.
func (e *examination) ownSpur(x *line) string {
	if t := e.knownSpur(x); t != nil {
		return fmt.Sprintf("the radio's own by its examination: %.1f kHz %s the middle of every slice", math.Abs(t.Hz)/1e3, aboveOrBelow(t.Hz))
	}
	ref := e.source.Clock.ReferenceHz
	if !(ref > 0) {
		return ""
	}
	k := math.Round(x.tunedHz / ref)
	if math.Abs(x.tunedHz-k*ref) > spurHz {
		return ""
	}
	return fmt.Sprintf("%.0f times the radio's clock of %.1f MHz, to within %.0f Hz", k, ref/1e6, spurHz)
}

// knownSpur is the tone of the radio's character that rides along with the tuning
// and that a line is, about as strong; nil for none.
func (e *examination) knownSpur(x *line) *character.Tone {
	const withinHz, strongerDB = 300, 10
	if e.Radio == nil || e.Radio.RateHz != x.from.rateHz {
		return nil
	}
	for i := range e.Radio.Tones {
		t := &e.Radio.Tones[i]
		if t.Kind == character.ToneFollows && math.Abs(t.Hz-x.offsetHz) < withinHz && decibel(x.Power) < t.DBFS+strongerDB {
			return t
		}
	}
	return nil
}
