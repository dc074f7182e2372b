package handover

import (
	"fmt"
	"math"
	"strings"

	"rooftone/scan/site"
)

// Cure is what changes between the antenna and the sets would bring at the place of
// the page, as it was worked out from what was measured there.
type Cure struct {
	Lead    []string // what stands between them as installed; nil: nobody told
	Changes []Change
	Sayings []Saying // what else there is to know, such as what an amplifier cannot do
}

// Change is one thing to buy or to do, with what is foretold of it.
type Change struct {
	What string
	// Channels are those that it moves, in order of number.
	Channels []Foretold
	// The wanted channels that come to decode and cease to, and those that may.
	Gained, MayGain, Lost, MayLose []int
	Overload, MayOverload          bool // strong stations would overload what follows
}

// Foretold is what a change brings to one channel: the 95 % interval, dB of margin.
type Foretold struct {
	RFChannel     int
	LowDB, HighDB float64
}

// Saying is a sentence about channels.
type Saying struct {
	Channels []int
	Text     string
}

// cureSheet is a Cure ready to be written.
type cureSheet struct {
	Lead    string
	Changes []changeRow
	Sayings []try
}

type changeRow struct{ What, Brings, Gained, Lost, Mind string }

func (b *builder) cure() {
	c := b.Cure
	if c == nil || len(c.Changes)+len(c.Sayings) == 0 {
		return
	}
	out := &cureSheet{}
	switch {
	case c.Lead == nil:
		out.Lead = "What stands between antenna and sets was not told, so that the intervals are wide."
	case len(c.Lead) == 0:
		out.Lead = "The radio stood at the antenna, with nothing between."
	default:
		out.Lead = "Between antenna and radio, as installed: " + strings.Join(c.Lead, ", ") + "."
	}
	for i := range c.Changes {
		ch := &c.Changes[i]
		row := changeRow{What: capital(ch.What), Brings: brings(ch.Channels), Gained: b.moved(ch.Gained, ch.MayGain), Lost: b.moved(ch.Lost, ch.MayLose)}
		switch {
		case ch.Overload:
			row.Mind = "mind: strong stations would overload what follows"
		case ch.MayOverload:
			row.Mind = "mind: strong stations may overload what follows"
		}
		b.sheet.Climb = b.sheet.Climb || leadsUp(ch.What)
		out.Changes = append(out.Changes, row)
	}
	for _, s := range c.Sayings {
		row := try{What: sentence(s.Text)}
		if len(s.Channels) > 0 {
			row.Channels = b.theChannels(s.Channels)
		}
		out.Sayings = append(out.Sayings, row)
	}
	b.sheet.Cure = out
}

// moved names channels that surely move and those that may.
func (b *builder) moved(surely, perhaps []int) string {
	var out []string
	for _, n := range surely {
		out = append(out, b.label(n))
	}
	for _, n := range perhaps {
		out = append(out, "perhaps "+b.label(n))
	}
	if len(out) == 0 {
		return "none"
	}
	return list(out)
}

// brings writes what a change brings: one interval where it is much the same on all
// channels, else one for each.
func brings(list []Foretold) string {
	if len(list) == 0 {
		return "nothing that a margin shows"
	}
	low, high := math.Inf(1), math.Inf(-1)
	alike := true
	for _, f := range list {
		const much = 1 // dB
		alike = alike && math.Abs(f.LowDB-list[0].LowDB) < much && math.Abs(f.HighDB-list[0].HighDB) < much
		low, high = math.Min(low, f.LowDB), math.Max(high, f.HighDB)
	}
	if alike {
		return span(low, high)
	}
	var out []string
	for _, f := range list {
		out = append(out, fmt.Sprintf("%d:\u00a0%s", f.RFChannel, span(f.LowDB, f.HighDB)))
	}
	return strings.Join(out, "; ")
}

// span writes an interval of dB.
func span(low, high float64) string {
	a, b := gain(low), gain(high)
	if a == b {
		return a + "\u00a0dB"
	}
	return a + " to " + b + "\u00a0dB"
}

// gain writes a change in dB, to whole ones where it is large.
func gain(db float64) string {
	digits := 1
	if math.Abs(db) >= 9.95 {
		digits = 0
	}
	text := strings.Replace(fmt.Sprintf("%+.*f", digits, db), "-", "\u2212", 1)
	if strings.Trim(text, "+\u22120.") == "" {
		return "0"
	}
	return text
}

// tries gathers the advice of all channels, each line once, in the order in
// which the channels that need it most have it.
func (b *builder) tries() {
	marks := site.MarksOf(b.chosen.Spot, b.Marks, b.ranking.Options)
	var lines []string
	channels := map[string][]int{}
	for _, w := range b.Places.Wanted {
		h, _ := site.Latest(marks, w.RFChannel)
		if h == nil {
			continue
		}
		for _, a := range h.Advice {
			if b.Cure != nil { // the page has what that would tell
				a, _, _ = strings.Cut(a, ": rooftone cure ")
			}
			if channels[a] == nil {
				lines = append(lines, a)
			}
			channels[a] = append(channels[a], w.RFChannel)
			b.sheet.Climb = b.sheet.Climb || leadsUp(a)
		}
	}
	for _, l := range lines {
		b.sheet.Tries = append(b.sheet.Tries, try{sentence(l), b.labels(channels[l])})
	}
}
