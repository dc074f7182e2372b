package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/recording"
)

const (
	// wholeEnough is the share of a channel from which on nobody is asked to
	// record the rest.
	wholeEnough = 0.95
	// slowRateHz is the rate below which a channel wants so many tunings that it
	// had better be recorded anew, at usualRateHz.
	slowRateHz, usualRateHz = 1.7e6, 2.4e6
	// worthNaming is the share of a channel from which on it is spoken of
	// although nobody asked for it.
	worthNaming = 0.2
)

// evidence is what a recording held of the channels that were asked for.
type evidence struct {
	name    string
	several bool // recordings, as one
	stays   []scan.Stay
	plan    []band.Channel
	listed  bool // the channels were named, not the whole plan

	part, none []*scan.Channel
	whole      int
}

// evidenceOf returns what a recording held; nil of a radio, which holds all.
func (s source) evidenceOf(survey *scan.Survey, asked, plan []band.Channel, listed bool) *evidence {
	p, ok := s.playlist.(recorded)
	if !ok {
		return nil
	}
	_, several := p.(*recording.Set)
	e := &evidence{name: p.Info().Name, several: several, stays: staysOf(p), plan: plan, listed: listed}
	for i := range survey.Channels {
		c := &survey.Channels[i]
		switch {
		case !slices.Contains(asked, c.Channel):
		case !c.Heard():
			e.none = append(e.none, c)
		case c.SeenShare() < wholeEnough:
			e.part = append(e.part, c)
		default:
			e.whole++
		}
	}
	return e
}

func staysOf(p recorded) []scan.Stay {
	var out []scan.Stay
	for _, s := range p.Spans() {
		out = append(out, scan.Stay{Stay: s.Stay, Samples: s.Samples})
	}
	return out
}

// nothing is the error of a recording that shows nothing of what was asked for;
// nil when it shows something.
func (e *evidence) nothing() error {
	if e == nil || len(e.part)+e.whole > 0 {
		return nil
	}
	within := e.within()
	switch {
	case e.listed:
		err := fmt.Errorf("%s %s: nothing can be said of %s", e.name, e.holds(), channelsInWords(e.none))
		if len(within) > 0 {
			return withHint(err, "%s would show %s; this is of %s", e.next(e.none), it(e.none), numbersInWords(within))
		}
		return withHint(err, "%s would show %s", e.next(e.none), it(e.none))
	case len(within) > 0:
		touched := slices.DeleteFunc(slices.Clone(e.none), func(c *scan.Channel) bool {
			return !slices.Contains(within, c.Channel.Number)
		})
		err := fmt.Errorf("%s %s: too little of %s to say anything of it", e.name, e.holds(), channelsInWords(touched))
		return withHint(err, "%s would show %s", e.next(touched), it(touched))
	}
	err := fmt.Errorf("%s %s: no part of any channel", e.name, e.holds())
	return withHint(err, "the channels of this plan lie at %s MHz; --center corrects the frequency of a raw recording", planInWords(e.plan))
}

// tell says in a line what is missing of what was asked for, and what to record
// for it.
func (e *evidence) tell(c *console) {
	if e == nil {
		return
	}
	part, none := e.part, e.none
	if !e.listed {
		part, none = e.worthTelling(), nil
	}
	if len(part)+len(none) == 0 {
		return
	}
	const most = 4
	var what []string
	for i, ch := range part {
		if i == most {
			what = append(what, fmt.Sprintf("a part of %d more", len(part)-most))
			break
		}
		what = append(what, fmt.Sprintf("%.0f %% of channel %d (%s)", 100*ch.SeenShare(), ch.Channel.Number, seenAs(ch)))
	}
	if len(none) > 0 {
		what = append(what, "nothing of "+channelsInWords(none))
	}
	whole := slices.Concat(part, none)
	does := "complete"
	if len(part) == 0 {
		does = "show"
	}
	c.note("%s %s: %s; %s would %s %s", e.name, e.holds(), strings.Join(what, ", "), e.next(whole), does, it(whole))
}

// worthTelling is what is spoken of where no channel was asked for by its
// number: those of which much was heard, or else that of which most was, unless
// the recording shows a channel whole.
func (e *evidence) worthTelling() []*scan.Channel {
	if e.whole > 0 || len(e.part) == 0 {
		return nil
	}
	var out []*scan.Channel
	best := e.part[0]
	for _, c := range e.part {
		if c.SeenShare() >= worthNaming {
			out = append(out, c)
		}
		if c.SeenShare() > best.SeenShare() {
			best = c
		}
	}
	if len(out) == 0 {
		out = append(out, best)
	}
	return out
}

// holds says what the recording holds, such as "holds 553.95 to 556.05 MHz, 60
// ms".
func (e *evidence) holds() string {
	const most = 3
	all := scan.Holds(e.stays)
	var out []string
	for i, h := range all {
		if i == most && len(all) > most+1 {
			out = append(out, fmt.Sprintf("and %d more stretches up to %s MHz", len(all)-most, megahertz(all[len(all)-1].HighHz)))
			break
		}
		out = append(out, fmt.Sprintf("%s to %s MHz, %s", megahertz(h.LowHz), megahertz(h.HighHz), lengthInWords(h.Seconds)))
	}
	if len(out) == 0 {
		out = []string{"no samples"}
	}
	verb := "holds "
	if e.several {
		verb = "hold "
	}
	return verb + strings.Join(out, "; ")
}

// next says what to record next, such as "0.5 s at 555 and 559 MHz".
func (e *evidence) next(channels []*scan.Channel) string {
	rate, mixed := 0.0, false
	for _, s := range e.stays {
		mixed = mixed || s.RateHz != e.stays[0].RateHz
		rate = max(rate, s.RateHz)
	}
	slow := rate < slowRateHz
	var readings []*measure.Reading
	for _, c := range channels {
		r := &c.Reading
		if slow {
			r = &measure.Reading{Channel: c.Channel}
		}
		readings = append(readings, r)
	}
	if slow {
		rate = usualRateHz
	}
	what := whatToRecord(readings, rate)
	if mixed || slow { // stays at one rate are what makes a channel whole
		what += fmt.Sprintf(" and %.4g MS/s", rate/1e6)
	}
	return what
}

// whatToRecord says which tunings at a rate would show the whole of some channels
// with what is there already.
func whatToRecord(readings []*measure.Reading, rateHz float64) string {
	const most = 6
	var tunings []float64
	for _, r := range readings {
		tunings = append(tunings, scan.Next(r, rateHz)...)
	}
	slices.Sort(tunings)
	tunings = slices.Compact(tunings)
	var words []string
	for _, hz := range tunings {
		words = append(words, megahertz(hz))
	}
	if n := len(words); n > most {
		return fmt.Sprintf("%g s at each of %d tunings from %s to %s MHz", scan.NextStay, n, words[0], words[n-1])
	}
	return fmt.Sprintf("%g s at %s MHz", scan.NextStay, enumerated(words))
}

// shown is a channel of which all is seen that the recording holds.
func (e *evidence) shown(c band.Channel) *scan.Channel {
	out := &scan.Channel{Reading: measure.Reading{Channel: c}}
	for _, h := range scan.Holds(e.stays) {
		if s := (band.Span{LowHz: max(h.LowHz, c.LowerHz), HighHz: min(h.HighHz, c.UpperHz())}); s.HighHz > s.LowHz {
			out.Seen = append(out.Seen, s)
		}
	}
	return out
}

// within returns the numbers of the plan's channels of which the recording
// holds a part.
func (e *evidence) within() (numbers []int) {
	all := scan.Holds(e.stays)
	for _, c := range e.plan {
		if slices.ContainsFunc(all, func(h scan.Held) bool { return h.LowHz < c.UpperHz() && h.HighHz > c.LowerHz }) {
			numbers = append(numbers, c.Number)
		}
	}
	return numbers
}

// seenAs is the word for what a part of a channel showed.
func seenAs(c *scan.Channel) string {
	if c.Grade != "" {
		return string(c.Grade)
	}
	return string(c.Presence)
}

func channelsInWords(list []*scan.Channel) string {
	var numbers []int
	for _, c := range list {
		numbers = append(numbers, c.Channel.Number)
	}
	return numbersInWords(numbers)
}

func numbersInWords(numbers []int) string {
	if len(numbers) == 1 {
		return fmt.Sprintf("channel %d", numbers[0])
	}
	return "channels " + plot.Ranges(numbers)
}

func it(list []*scan.Channel) string {
	if len(list) == 1 {
		return "it"
	}
	return "them"
}

// planInWords is where the channels of a plan lie, in MHz.
func planInWords(plan []band.Channel) string {
	var spans []band.Span
	for _, c := range plan {
		spans = append(spans, c.Span())
	}
	var out []string
	for _, s := range band.Join(spans, 0) {
		out = append(out, megahertz(s.LowHz)+" to "+megahertz(s.HighHz))
	}
	return enumerated(out)
}

// megahertz writes a frequency without its unit, to 10 kHz.
func megahertz(hz float64) string {
	s := fmt.Sprintf("%.2f", hz/1e6)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// lengthInWords writes a length of samples.
func lengthInWords(seconds float64) string {
	if seconds < 1 {
		return fmt.Sprintf("%.3g ms", 1e3*seconds)
	}
	return fmt.Sprintf("%.3g s", seconds)
}

// recordMore adds to a meter's word that a recording does not hold enough what to
// record.
func recordMore(err error, src source) error {
	little := (*meter.UncoveredError)(nil)
	p, ok := src.playlist.(recorded)
	if !ok || !errors.As(err, &little) {
		return err
	}
	e := &evidence{stays: staysOf(p)}
	var list []*scan.Channel
	for _, c := range little.Channels {
		list = append(list, e.shown(c))
	}
	return withHint(err, "%s would complete %s", e.next(list), it(list))
}
