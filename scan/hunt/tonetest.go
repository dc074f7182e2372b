package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// SpurTest is what second looks at a tone told.
type SpurTest struct {
	FrequencyHz float64
	SigmaHz     float64 // its standard uncertainty
	// Moves says that the tone was not where it had been once the radio was
	// tuned a little aside; nil where that was not tried.
	Moves *bool
	// SlopeDB is by how many dB it rises at the output for each dB of gain.
	SlopeDB *measure.Estimate
	// Stays says that it is there without an antenna; nil without that test.
	Stays    *bool
	Harmonic int // of the radio's clock; 0 when it is none

	stood bool // it surely was where it had been
}

// heardAt reads a line near a true frequency in a stay: its power at the
// input with its uncertainty.
func (s *scene) heardAt(x *stay, hz, reachHz float64) (rung, bool) {
	l := ladder{stays: []*stay{x}}
	r := l.lines(s.topDB, hz/s.clock, reachHz)
	if len(r) == 0 {
		return rung{}, false
	}
	return r[0], true
}

// lineReachHz is how far around a tone its power is looked for.
const lineReachHz = 6e3

// testTones works out what second looks tell of each tone that had one.
func (l *listener) testTones(f *finding, tones []Suspect) (tests []SpurTest, own []float64) {
	reference := l.info.Clock.ReferenceHz
	for i := range tones {
		t := &tones[i]
		hz := t.FrequencyHz.Value
		test := SpurTest{FrequencyHz: hz, SigmaHz: t.FrequencyHz.Sigma, Harmonic: harmonic(hz/f.clock, reference)}
		reach := max(lineReachHz, t.WidthHz)
		// What was looked at again was known a little less well by then.
		within := 1e3 + t.WidthHz/2
		var aside, without []rung
		for _, x := range f.stays {
			away := math.Abs(hz/f.clock - x.centerHz)
			r, ok := f.heardAt(x, hz, reach)
			switch {
			case !ok:
			case x.off:
				without = append(without, r)
			case math.Abs(away-asideHz) < within:
				aside = append(aside, r)
			}
		}
		if len(aside)+len(without) == 0 {
			continue
		}
		// The first at the highest gain.
		slices.SortStableFunc(aside, func(a, b rung) int { return cmp.Compare(b.gain, a.gain) })
		if t.LevelDBFS != nil && len(aside) > 0 {
			test.judge(aside, f.levelOf(t))
		}
		if line := (lineRungs{hz: hz, rungs: aside}); len(aside) > 1 {
			line.predict(f.all, reach)
			f.lines = append(f.lines, line)
		}
		if len(without) > 0 && len(aside) > 0 {
			stays := without[0].value > aside[0].value/4 && without[0].value > 5*without[0].sigma
			test.Stays = &stays
			if stays {
				own = append(own, hz)
			}
		}
		tests = append(tests, test)
	}
	return tests, own
}

// levelOf is the power at the input that a tone was found with; NaN where its
// gain is not known.
func (f *finding) levelOf(t *Suspect) float64 {
	hz := t.FrequencyHz.Value
	for i := range f.survey.Channels {
		r := &f.survey.Channels[i].Reading
		if hz >= r.Channel.LowerHz && hz < r.Channel.UpperHz() {
			gain := 0.0
			if r.GainDB != nil {
				gain = f.realGain(*r.GainDB)
			}
			return linear(t.LevelDBFS.Value - gain)
		}
	}
	return math.NaN()
}

// judge compares the looks from aside, the first at the highest gain, with the
// power that the tone was found with.
func (t *SpurTest) judge(aside []rung, found float64) {
	top := aside[0]
	gone := top.value < found/8 && top.value < found-6*top.sigma
	t.Moves = &gone
	t.stood = top.value > found/4 && top.value > 6*top.sigma
	if gone || len(aside) < 2 {
		return
	}
	low := aside[len(aside)-1]
	if top.value < 6*top.sigma || low.gain >= top.gain {
		return
	}
	run := decibel(top.gain / low.gain)
	value, sigma := low.value, low.sigma
	if value < 2*sigma { // no more than this is left
		value = 2 * sigma
	}
	t.SlopeDB = &measure.Estimate{
		Value: 1 + decibel(top.value/value)/run,
		Sigma: max(10/math.Ln10*math.Hypot(top.sigma/top.value, sigma/value)/run, 0.05),
	}
}

// harmonic returns which multiple of the radio's clock stands at a frequency of
// its own scale, 0 for none.
func harmonic(tunedHz, referenceHz float64) int {
	if !(referenceHz > 0) {
		return 0
	}
	const withinHz = 400 // what the synthesiser rounds, and what a slice resolves
	k := math.Round(tunedHz / referenceHz)
	if k >= 1 && math.Abs(tunedHz-k*referenceHz) < withinHz {
		return int(k)
	}
	return 0
}

// reclassify turns tones that were told to be something else into that.
func (f *finding) reclassify(suspects []Suspect, tests []SpurTest, info tuner.Info) []Suspect {
	out := slices.Clone(suspects)
	riders := riders(out, f.free)
	for i := range out {
		t := &out[i]
		stood := slices.ContainsFunc(tests, func(x SpurTest) bool {
			return t.FrequencyHz != nil && math.Abs(x.FrequencyHz-t.FrequencyHz.Value) < 100 && x.stood
		})
		if r, ok := riders[i]; ok && !stood {
			t.own(fmt.Sprintf("a tone stands as far from the middle of %d slices, wherever the radio is tuned", r.slices))
			t.cause = cause{Spur, fmt.Sprintf("%.0f kHz %s the middle of every slice", math.Abs(r.offsetHz)/1e3, aboveOrBelow(r.offsetHz))}
			continue
		}
		if t.FrequencyHz == nil || t.Kind != Tone && t.Kind != Spur && t.Kind != Carrier {
			continue
		}
		at := slices.IndexFunc(tests, func(x SpurTest) bool { return math.Abs(x.FrequencyHz-t.FrequencyHz.Value) < 100 })
		test := SpurTest{Harmonic: harmonic(t.FrequencyHz.Value/f.clock, info.Clock.ReferenceHz)}
		if at >= 0 {
			test = tests[at]
		}
		f.reclassifyOne(t, test, info)
	}
	return out
}

func aboveOrBelow(offsetHz float64) string {
	if offsetHz < 0 {
		return "below"
	}
	return "above"
}

// rider is a tone that stands as far from the middle of several slices.
type rider struct {
	slices   int
	offsetHz float64
}

// riders returns, for each suspect that stands as far from the middle of the slice
// that it was found in as others from theirs, in how many slices one does: in so
// many that it cannot be a row of tones which happens to be as wide as the tunings
// are apart. A tone of the radio's own is in every slice that no station hides it in.
func riders(suspects []Suspect, free func(offsetHz float64) int) map[int]rider {
	const enough, part, withinHz = 3, 0.4, 300
	out := map[int]rider{}
	tone := func(s *Suspect) bool { return s.offsetHz != 0 && (s.Kind == Tone || s.Kind == Spur) }
	for i := range suspects {
		s := &suspects[i]
		if !tone(s) {
			continue
		}
		r := rider{offsetHz: s.offsetHz}
		for k := range suspects {
			if o := &suspects[k]; tone(o) && math.Abs(o.offsetHz-s.offsetHz) < withinHz {
				r.slices++
				r.offsetHz = math.Min(r.offsetHz, o.offsetHz) // one for all of them
			}
		}
		if r.slices >= enough && float64(r.slices) >= part*float64(free(s.offsetHz)) {
			out[i] = r
		}
	}
	return out
}

// free is in how many tunings a tone at an offset from the middle would lie in a
// channel without a station, heard as long as any and at that channel's gain.
func (f *finding) free(offsetHz float64) int {
	var longest float64
	for _, x := range f.stays {
		if !x.off {
			longest = max(longest, x.averages)
		}
	}
	seen := map[float64]bool{}
	for _, x := range f.stays {
		hz := (x.centerHz + offsetHz) * f.clock
		for i := range f.survey.Channels {
			r := &f.survey.Channels[i].Reading
			if x.off || x.averages < longest/2 || r.GainDB != nil && math.Abs(x.gainDB-*r.GainDB) > 0.05 {
				continue
			}
			if r.Heard() && r.Presence != measure.Present && hz >= r.Channel.LowerHz && hz < r.Channel.UpperHz() {
				seen[math.Round(x.centerHz/1e3)] = true
			}
		}
	}
	return len(seen)
}

func (f *finding) reclassifyOne(t *Suspect, test SpurTest, info tuner.Info) {
	place := Megahertz(*t.FrequencyHz)
	steep := 1.5
	if f.mixAt(t.FrequencyHz.Value, t.WidthHz) != nil {
		steep = 1.2 // where one is expected, less proof is enough
	}
	switch {
	case t.Kind != Carrier && test.Harmonic > 0:
		t.own(fmt.Sprintf("it is at %d times the radio's own clock of %.4g MHz", test.Harmonic, info.Clock.ReferenceHz/1e6))
	case t.Kind != Carrier && test.Moves != nil && *test.Moves:
		t.own("it was gone from its place once the radio was tuned 0.36 MHz aside: it moves with the tuning")
	case test.Stays != nil && *test.Stays:
		t.own("it stays with the antenna off")
	case test.SlopeDB != nil && test.SlopeDB.Value-2*test.SlopeDB.Sigma > steep:
		s := test.SlopeDB
		t.Kind = Product
		t.Name = "product at " + place
		line := fmt.Sprintf("it rises by %.1f dB for each dB of gain: the receiver makes it", s.Value)
		if m := f.mixAt(t.FrequencyHz.Value, t.WidthHz); m != nil {
			line += ", out of " + m.formula(f.parents)
			t.cause = cause{Product, strings.Join(m.services(f.parents), "+")}
		}
		t.Evidence = slices.Insert(t.Evidence, 0, line)
		t.Next = "lower the gain by some dB: it falls by two or three times as many"
		t.Cure = f.cure()
	default:
		if test.Stays != nil {
			t.Evidence = append(t.Evidence, "it goes with the antenna off: it comes from outside")
		} else if test.SlopeDB != nil && test.Moves != nil {
			t.Evidence = append(t.Evidence, "it keeps its place and level whatever the tuning and the gain: it comes from outside")
		}
		if m := f.lineMixAt(t.FrequencyHz.Value); m != nil && test.SlopeDB != nil {
			t.Kind = Product
			t.Name = "product at " + place + ", made before the radio"
			t.cause = cause{Product, beforeRadio + strings.Join(m.services(f.parents), "+")}
			t.Evidence = slices.Insert(t.Evidence, 0,
				fmt.Sprintf("it is exactly at %s, and rises by %.1f dB for each dB of gain: something before the radio makes it", m.formula(f.parents), test.SlopeDB.Value))
			t.Next, t.Cure = beforeNext, beforeCure
		}
	}
}

const (
	beforeRadio = "before: " // begins the cause of what is made there

	beforeNext = "take the amplifier out of the line and hunt again"
	beforeCure = "an amplifier with less gain or a higher intercept, or a filter before it"
)

// own makes a tone the radio's.
func (t *Suspect) own(why string) {
	t.Kind = Spur
	t.Name = "the radio's own tone at " + Megahertz(*t.FrequencyHz)
	t.Evidence = slices.Insert(t.Evidence, 0, why)
	t.Harms = nil // a receiver does not hear it
	t.Next = "take the antenna off and hunt again: it stays"
	t.Cure = "none is wanted: no television set hears it"
}

// mixAt returns the strongest product that stands at a frequency.
func (f *finding) mixAt(hz, widthHz float64) *mix {
	for i := range f.all {
		m := &f.all[i]
		if m.reach() < narrowHz && math.Abs(m.hz-hz) < 3e3+f.doubtHz(hz)+m.reach()+widthHz/2 {
			return m
		}
	}
	return nil
}

// lineMixAt returns the strongest product of lone tones exactly at a
// frequency.
func (f *finding) lineMixAt(hz float64) *mix {
	const exactHz = 2e3
	for i := range f.all {
		m := &f.all[i]
		var width float64
		for _, p := range m.parents {
			width += f.parents[p].widthHz()
		}
		if width <= 3*pieceHz/2+1 && math.Abs(m.hz-hz) < exactHz {
			return m
		}
	}
	return nil
}
