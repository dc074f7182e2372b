package verdict

import (
	"fmt"
	"math"

	"rooftone/scan/measure"
)

const (
	// overloadFraction is the part of samples on a rail from which a Reading is
	// put down to the radio and not to the air.
	overloadFraction = 1e-3

	// costDB is what a limit must cost to be named.
	costDB = 1.0

	// neighbourDB is how much stronger than a channel its neighbour must be to
	// be the likely cause of what spills into it.
	neighbourDB = 10
)

// Of judges one channel. below and above are the Readings of the channels that
// touch it, nil where there is none.
func Of(r, below, above *measure.Reading) Verdict {
	var v Verdict
	if !r.Heard() {
		return v
	}
	if r.ClippedFraction > overloadFraction {
		v.add(Overload, "%.2g %% of the samples hit the converter's rails: what is read here is in doubt", 100*r.ClippedFraction)
		v.advise("measure again with less gain, or with an attenuator before the radio")
	}
	occupied := Occupied(r)
	if occupied {
		v.occupant(r)
	}
	for _, d := range r.Suspicion {
		if !occupied || r.Occupant == nil || !aboutPower(d) { // else it has been said
			v.doubt(r, d)
		}
	}
	if r.Standard == measure.ATSC3 {
		v.add(OtherStandard, "this channel is ATSC 3.0: a TV or tuner without ATSC 3.0 will not show it, whatever the aim")
		v.advise("use a receiver for ATSC 3.0; look whether the station also sends on another channel")
	}
	if r.Presence != measure.Present || r.Standard == measure.ATSC3 || occupied {
		return v
	}
	v.Grade = Trace
	if r.Margin != nil {
		v.Grade = gradeOf(r.Margin.Value)
	}
	if partly(r) && Could(r.Margin) != "" {
		v.advise("listen to the rest of the channel too before deciding: with all of it heard the figure is surer")
	}
	if v.Grade != Firm {
		v.limits(r, below, above)
		if r.Moving {
			v.moving()
		}
	}
	if r.Margin != nil && r.Margin.Value >= 0 {
		v.hardEcho(r)
	}
	return v
}

func gradeOf(marginDB float64) Grade {
	switch {
	case marginDB < 0:
		return Trace
	case marginDB < SlimMarginDB:
		return Cliff
	case marginDB < FirmMarginDB:
		return Slim
	}
	return Firm
}

func (v *Verdict) add(l Limit, format string, args ...any) {
	v.Reasons = append(v.Reasons, Reason{l, fmt.Sprintf(format, args...)})
}

// advise adds a line unless it is there already.
func (v *Verdict) advise(lines ...string) {
	for _, line := range lines {
		seen := false
		for _, a := range v.Advice {
			seen = seen || a == line
		}
		if !seen {
			v.Advice = append(v.Advice, line)
		}
	}
}

// limits says what keeps a present channel from being firm, the costliest
// first.
func (v *Verdict) limits(r, below, above *measure.Reading) {
	if r.Margin == nil {
		v.add(Weak, "a pilot and no more: far below what a receiver decodes")
		v.adviseWeak(math.Inf(-1))
		return
	}
	echoes, under := echoCost(r), valueOf(r.UnderCost)
	// What would be left if neither echoes nor anything under the signal cost
	// a dB is what noise alone allows.
	// Costs too small to be named stay in the figure that is.
	noiseAlone := r.Margin.Value
	for _, cost := range []float64{echoes, under} {
		if cost >= costDB {
			noiseAlone += cost
		}
	}
	weak := func() {
		if noiseAlone < FirmMarginDB {
			v.weak(r, noiseAlone)
		}
	}
	underneath := func() {
		if under >= costDB {
			v.underneath(r, below, above, under)
		}
	}
	if echoes < costDB {
		underneath()
		weak()
		return
	}
	if under > echoes {
		underneath()
		v.echoes(r, echoes)
	} else {
		v.echoes(r, echoes)
		underneath()
	}
	weak()
}

// moving says that the channel does not stand still.
func (v *Verdict) moving() {
	v.add(Fading, "the channel changes within a twentieth of a second: something on the way moves, such as trees, traffic or aircraft")
	v.advise("watch it for a while before trusting the figure; a place that sees less of what moves holds better")
}

func valueOf(e *measure.Estimate) float64 {
	if e == nil {
		return 0
	}
	return math.Max(0, e.Value)
}

// weak says what noise leaves of a present channel.
func (v *Verdict) weak(r *measure.Reading, noiseAlone float64) {
	ratio := ""
	if r.CN != nil {
		ratio = fmt.Sprintf("C/N %.0f dB", r.CN.Value)
		const plain = 1.0 // dB; half an interval that goes without saying
		if half := coverage * r.CN.Sigma; half > plain {
			ratio = fmt.Sprintf("C/N %.0f dB, give or take %.0f", r.CN.Value, half)
		}
		ratio += ", "
	}
	if noiseAlone < 0 {
		v.add(Weak, "%s%s short of what a receiver needs", ratio, decibels(-noiseAlone))
	} else {
		v.add(Weak, "%sonly %s to spare", ratio, decibels(noiseAlone))
	}
	v.adviseWeak(noiseAlone)
}

// decibels writes a small amount of dB: never 0.
func decibels(db float64) string {
	if db < 0.95 || math.Abs(db-FirmMarginDB) < 0.5 { // "only 9 dB" would be enough
		return fmt.Sprintf("%.1f dB", math.Max(db, 0.1))
	}
	return fmt.Sprintf("%.0f dB", db)
}

const (
	// aimDB is what a better aim or place commonly brings a weak channel.
	aimDB = 3
	// amplifierDB is the most that an amplifier at the antenna commonly brings: what a
	// long cable with a splitter loses, and what its noise figure is better than a
	// receiver's. Both are common practice, no source.
	amplifierDB = 15
)

// adviseWeak says what to try against noise that leaves so much margin. An amplifier
// makes up for what follows it and no more, so it is no answer where much is missing,
// nor where an aim would do; what it brings to one house scan/cure reckons.
func (v *Verdict) adviseWeak(noiseAlone float64) {
	v.advise("turn the antenna, then try a foot or two sideways and up")
	switch {
	case noiseAlone < -amplifierDB:
		v.advise("a longer antenna or a higher place; no amplifier makes up for so much")
	case noiseAlone < -aimDB:
		v.advise("a longer antenna or a higher place; an amplifier at the antenna makes up for a long cable or splitters behind it and for no more: rooftone cure tells by how much")
	default:
		v.advise("then a longer antenna, a higher place, a shorter cable or one splitter less: rooftone cure tells what each would bring")
	}
}

// echoes says what the channel's shape costs, by its strongest echo.
func (v *Verdict) echoes(r *measure.Reading, cost float64) {
	var worst *measure.Echo
	for i := range r.Echoes {
		if e := &r.Echoes[i]; worst == nil || e.LevelDB.Value > worst.LevelDB.Value {
			worst = e
		}
	}
	switch {
	case worst == nil && r.Ripple != nil && partly(r):
		v.add(Echoes, "what was heard of the channel is uneven by %.0f dB, which costs some %s: an echo, or a dip of the antenna's", r.Ripple.Value, decibels(cost))
	case worst == nil && r.Ripple != nil:
		v.add(Echoes, "the channel is uneven by %.0f dB, which costs %s: an echo, or a dip of the antenna's", r.Ripple.Value, decibels(cost))
	case worst == nil:
		v.add(Echoes, "echoes cost %s", decibels(cost))
	case worst.DelayUS.Value < 0:
		v.add(Echoes, "a path %.1f µs earlier than the strongest, %.0f dB, costs %s: the direct way is partly blocked",
			-worst.DelayUS.Value, worst.LevelDB.Value, decibels(cost))
	default:
		v.add(Echoes, "echo %.1f µs late, %.0f dB, about %s of extra path, costs %s: turn away from it or try a foot or two sideways",
			worst.DelayUS.Value, worst.LevelDB.Value, lengths(worst.ExtraFeet()), decibels(cost))
	}
	v.advise(
		"try a foot or two sideways and up: echoes add up and cancel within half a wavelength",
		"turn the antenna's side to where the echo comes from; a narrower beam hears less of it")
}

// hardEcho warns of an echo that an ideal equaliser undoes and many a receiver
// does not: one about as strong as the station's own path, a strong one before
// it, or one beyond what a common equaliser's taps span (64 forward, 192 back).
func (v *Verdict) hardEcho(r *measure.Reading) {
	const (
		nearlyEqualDB        = -3
		earlyUS, earlyDB     = -0.7, -12
		beyondSpanUS, lateDB = 17, -15
	)
	for _, x := range v.Reasons {
		if x.Limit == Echoes {
			return
		}
	}
	for _, e := range r.Echoes {
		d, l := e.DelayUS.Value, e.LevelDB.Value
		if l < nearlyEqualDB && !(d < earlyUS && l > earlyDB) && !(d > beyondSpanUS && l > lateDB) {
			continue
		}
		v.add(Echoes, "an echo of %.0f dB at %+.1f µs: a good receiver undoes it, an older one may fail for all the margin shown", l, d)
		v.advise("try a foot or two sideways and up: echoes add up and cancel within half a wavelength")
		return
	}
}

// lengths writes a length of so many feet to about two figures, in metres too:
// who reads it is not known here.
func lengths(ft float64) string {
	rounded := func(v float64) float64 {
		step := 10.0
		if v < 100 {
			step = 1
		}
		return math.Round(v/step) * step
	}
	return fmt.Sprintf("%.0f ft or %.0f m", rounded(ft), rounded(ft*0.3048))
}

// underneath names what stands under the signal besides noise.
func (v *Verdict) underneath(r, below, above *measure.Reading, cost float64) {
	for _, n := range []*measure.Reading{below, above} {
		if n != nil && r.UnderTilted && n.PowerDBFS != nil && r.PowerDBFS != nil && sameGainPower(n)-sameGainPower(r) > neighbourDB {
			v.add(Adjacent, "channel %d next door is %.0f dB stronger and spills over: that costs %s",
				n.Channel.Number, sameGainPower(n)-sameGainPower(r), decibels(cost))
			v.advise("turn so that the neighbour weakens; a filter or less gain if it overloads the receiver")
			return
		}
	}
	v.nameless(r, below, above, cost)
	v.advise("turn the antenna so that its back or side faces the other station; a narrower beam helps most")
}

// nameless says what may stand under a signal when no neighbour is known that
// explains it. A second station lies under the whole channel; what lies under
// one end of it is more likely something else.
func (v *Verdict) nameless(r, below, above *measure.Reading, cost float64) {
	unheard := func(n *measure.Reading) bool { return n != nil && n.PowerDBFS == nil }
	alone := below == nil && above == nil
	switch {
	case !r.UnderTilted:
		v.add(CoChannel, "something on the same frequencies stands under the signal and costs %s: likely another station on this channel", decibels(cost))
	case alone || unheard(below) || unheard(above):
		v.add(Adjacent, "something stands under one end of the channel and costs %s: most often a strong channel next door that spills over, which was not heard here; it may be a narrow signal too", decibels(cost))
		v.advise("listen to the channels next door too: the one that spills over is much stronger")
	default:
		v.add(CoChannel, "something stands under one end of the channel and costs %s, and no channel next door is strong enough to spill over so much: a narrow signal, or another station of which the echoes leave one end", decibels(cost))
	}
}

// sameGainPower is a channel's power as if all were measured at one gain.
func sameGainPower(r *measure.Reading) float64 {
	p := r.PowerDBFS.Value
	if r.GainDB != nil {
		p -= *r.GainDB
	}
	return p
}

// doubt says what was found in a channel that is no station, or may be none.
func (v *Verdict) doubt(r *measure.Reading, d measure.Doubt) {
	switch d {
	case measure.DoubtNoData:
		text := "a lone tone" + place(r)
		if r.Pilot != nil {
			text += fmt.Sprintf(": a station would show %.0f dB of C/N beside it", r.Pilot.ImpliedCN.Value)
		}
		v.add(Tone, "%s", text)
	case measure.DoubtSpur:
		text := "a tone of the radio's own"
		if r.Pilot != nil && r.Pilot.KnownSpur != "" {
			text += ": " + r.Pilot.KnownSpur
		}
		v.add(Tone, "%s", text)
	case measure.DoubtOffPlace:
		v.add(Tone, "a lone tone%s, where no pilot belongs", place(r))
	case measure.DoubtNoClock:
		v.add(Weak, "a weak tone near a pilot's place, and no station to tell the clock error by")
		v.advise("give the clock error with --ppm, or visit channels with a stronger station")
	case measure.DoubtNoTraining:
		v.add(OtherStandard, "a tone and power, but not the training that an 8-VSB station repeats every 24 ms, which would have been found at this level: another service")
	case measure.DoubtNoPilot:
		v.add(OtherStandard, "power without a pilot: another standard or another service")
	case measure.DoubtShape:
		v.add(OtherStandard, "a tone and power that does not fill the channel: another service")
	case measure.DoubtNoiseLevel:
		v.add(Weak, "the noise floor is not known well enough to tell")
		v.advise("visit some vacant channels too")
	}
}

// aboutPower reports whether a doubt is about power that is no station's.
func aboutPower(d measure.Doubt) bool {
	return d == measure.DoubtNoPilot || d == measure.DoubtShape || d == measure.DoubtNoTraining
}

// place writes where a tone is relative to the pilot's place, as exactly as the
// radio's clock lets that be known.
func place(r *measure.Reading) string {
	if r.Pilot == nil {
		return ""
	}
	o := r.Pilot.OffsetHz
	const sure = 0.5e3 // half an interval that goes without saying
	if half := coverage * o.Sigma; half > sure {
		return fmt.Sprintf(" %+.0f kHz from the pilot's place, give or take %.0f", o.Value/1e3, math.Ceil(half/1e3))
	}
	return fmt.Sprintf(" %+.1f kHz from the pilot's place", o.Value/1e3)
}
