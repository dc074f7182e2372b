package plot

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// remarks say what the rows cannot.
func (p *Places) remarks() []string {
	var out []string
	r := &p.Ranking
	for _, group := range p.tied() {
		var names []string
		for _, row := range group {
			names = append(names, row.Spot.String())
		}
		out = append(out, fmt.Sprintf("equal, rank %d: %s: no wanted channel differs with certainty, and measuring again would not change the choice", group[0].Rank, joined(names)))
	}
	out = append(out, p.different()...)
	out = append(out, p.givenUp()...)
	out = append(out, p.next()...)
	if len(r.Nowhere) > 0 {
		out = append(out, "no place gives "+theChannels(r.Nowhere))
	}
	if len(r.NotEnough) > 0 {
		out = append(out, fmt.Sprintf("no place gives %.3g dB of %s", r.Options.EnoughDB, theChannels(r.NotEnough)))
	}
	if len(r.Unmeasured) > 0 {
		out = append(out, "not measured anywhere: "+theChannels(r.Unmeasured))
	}
	if n := r.OtherStandard; len(n) > 0 {
		out = append(out, fmt.Sprintf("%s: there, but ATSC 3.0, which has no 8-VSB margin: not counted", theChannels(n)))
	}
	for i := range r.Headings {
		if s := p.SingleLine(&r.Headings[i]); s != "" {
			out = append(out, s)
		}
	}
	if s := p.two(); s != "" {
		out = append(out, s)
	}
	return append(out, p.UnclearLines()...)
}

// different names the places that are not known to be worse than the best, but
// serve other channels.
func (p *Places) different() []string {
	var names []string
	for i := range p.Ranking.Rows {
		if row := &p.Ranking.Rows[i]; row.Standing == decide.Different {
			names = append(names, row.Spot.String())
		}
	}
	if len(names) == 0 {
		return nil
	}
	return []string{"not known to serve less than the best, but other channels: " + joined(names)}
}

// givenUp says which channels are certainly stronger elsewhere than at the best.
func (p *Places) givenUp() []string {
	var lost, firm, idle []string
	for _, l := range p.Ranking.GivenUp {
		switch {
		case !l.Matters && l.There.Margin.Value < 0:
			idle = append(idle, fmt.Sprint(l.RFChannel))
		case !l.Matters:
			firm = append(firm, fmt.Sprint(l.RFChannel))
		case l.MoreDB == nil:
			lost = append(lost, fmt.Sprintf("channel %d, not there: %s at %s", l.RFChannel, marginText(l.There.Margin), l.Spot))
		default:
			lost = append(lost, fmt.Sprintf("channel %d, %s: %s at %s", l.RFChannel, marginText(l.Here.Margin), marginText(l.There.Margin), l.Spot))
		}
	}
	var out []string
	if len(lost) > 0 {
		out = append(out, "the best place gives up "+joined(lost))
	}
	if len(firm) > 0 {
		out = append(out, "stronger elsewhere, though enough at the best place: "+number(len(firm), "channel ", "channels ")+strings.Join(firm, ", "))
	}
	if len(idle) > 0 {
		out = append(out, "stronger elsewhere, but no picture there either: "+number(len(idle), "channel ", "channels ")+strings.Join(idle, ", "))
	}
	return out
}

// marginText writes a margin in a sentence.
func marginText(e *measure.Estimate) string {
	m, ok := known(e)
	if !ok {
		return "no margin"
	}
	return strings.TrimSpace(twoFigures(m.v, true)) + "\u00a0dB"
}

// next says what to measure next.
func (p *Places) next() []string {
	const most = 3
	var out []string
	more := 0
	for _, s := range p.Ranking.Next {
		if len(out) == most && !s.Best {
			more++
			continue
		}
		what := "it could win"
		if s.Best {
			what = "it decides whether this stays the best"
		}
		if s.Again {
			what = "it is too close to tell"
		}
		verb := "measure next"
		if s.Again {
			verb = "measure again"
		}
		out = append(out, fmt.Sprintf("%s: %s with %s: %s", verb, s.Spot, theChannels(s.Channels), what))
	}
	if more > 0 {
		out = append(out, fmt.Sprintf("and %s that could win: see --json", counted(more, "place more", "places more")))
	}
	return out
}

// SingleLine says which one heading serves all wanted channels best at a place,
// "" where there is only one channel to serve.
func (p *Places) SingleLine(s *decide.Single) string {
	if len(s.Costs) < 2 {
		return ""
	}
	place := (&site.Spot{Place: s.Place, HeightM: s.HeightM, Units: p.Ranking.Options.Units}).String()
	return SingleLine(s, place, p.North)
}

// SingleLine is the best single heading at a place in a line of text.
func SingleLine(s *decide.Single, place string, north site.North) string {
	text := fmt.Sprintf("one heading for all wanted channels at %s: %s %s\u00b0%s", place,
		site.Heading(s.Heading.Value), halfWidth(coverage*s.Heading.Sigma, true, "\u00b1"), north.Words())
	if s.ToDeg >= 360 {
		text += ", and any other is nearly as good"
	} else {
		text += fmt.Sprintf(", to be held from %.0f\u00b0 to %.0f\u00b0 (beyond, as much is lost as by %.2g\u00a0dB less on every channel)", s.FromDeg, s.ToDeg, s.HoldLossDB)
	}
	const little = 0.5
	var costs, gone []string
	for _, c := range s.Costs {
		switch {
		case c.Peak == nil:
		case c.Here.Margin == nil:
			gone = append(gone, fmt.Sprintf("%d, which has %s at %s", c.RFChannel, marginText(c.Peak), site.Heading(c.PeakDeg)))
		case c.CostDB >= little:
			cost := strings.TrimSpace(twoFigures(c.CostDB, false))
			costs = append(costs, fmt.Sprintf("channel %d loses %s\u00a0dB (%s are left)", c.RFChannel, cost, marginText(c.Here.Margin)))
		}
	}
	switch {
	case len(costs) > 0:
		text += "; against their own peaks " + strings.Join(costs, ", ")
	case len(gone) == 0:
		text += "; no channel loses more than 0.5\u00a0dB of its own peak"
	}
	if len(gone) > 0 {
		text += "; it does without " + number(len(gone), "channel ", "channels ") + strings.Join(gone, ", ")
	}
	if len(s.Unknown) > 0 {
		text += "; not known there: " + theChannels(s.Unknown)
	}
	return text
}

// two says what a second antenna would be worth.
func (p *Places) two() string {
	q := p.Ranking.Pair
	if len(p.Ranking.Rows) < 2 {
		return ""
	}
	if q == nil || !q.Worth {
		return "two antennas: no pair is known to gain enough over the best place alone"
	}
	text := fmt.Sprintf("two antennas, %s and %s: together %d of %d channels have enough", q.Spots[0], q.Spots[1], len(q.Enough), p.weight())
	if len(q.Gained) > 0 {
		text += ", " + theChannels(q.Gained) + " more than one alone"
	}
	return text
}

// Joining says how to bring the two antennas of a pair together; nothing where
// they are not worth it.
func (p *Places) Joining() []string {
	q := p.Ranking.Pair
	if q == nil || !q.Worth {
		return nil
	}
	how := "to join them: a set with two antenna inputs, or an A/B switch, which cost next to nothing"
	if q.Rotator {
		how += "; or one antenna on a rotator, for one direction at a time"
	}
	combine := fmt.Sprintf("a combiner takes about %.1f\u00a0dB of each (common practice), and each station then comes by two paths that add or cancel: ", q.LossDB)
	if len(q.Falls) == 0 {
		combine += "all that have enough keep it even so, at the worst"
	} else {
		combine += fmt.Sprintf("%s would have enough no more at the worst (%s)", theChannels(q.Falls), strings.Join(p.behind(q.Falls), ", "))
		if len(q.Serves) > 0 {
			combine += ", " + theChannels(q.Serves) + " would"
		}
	}
	return []string{how, combine}
}

// behind writes what channels have behind a combiner.
func (p *Places) behind(channels []int) []string {
	var out []string
	for _, j := range p.Ranking.Pair.Joined {
		if !slices.Contains(channels, j.RFChannel) || j.BestDB == nil {
			continue
		}
		best := strings.TrimSpace(twoFigures(*j.BestDB, true))
		worst := "nothing"
		if j.WorstDB != nil {
			worst = strings.TrimSpace(twoFigures(*j.WorstDB, true))
		}
		out = append(out, fmt.Sprintf("%d: %s to %s\u00a0dB", j.RFChannel, worst, best))
	}
	return out
}

// versus sets the first place against the second, channel by channel.
func (t *table) versus(p *Places) {
	v := p.Ranking.Versus
	if v == nil || len(v.Channels) == 0 {
		return
	}
	name, per := t.columns(p)
	for block := range slices.Chunk(v.Channels, per) {
		lines := []string{"1 against 2", "gained dB", "holds, 1: %", "holds, 2: %"}
		for i := range lines {
			lines[i] = fitRunes(lines[i], name)
			lines[i] += strings.Repeat(" ", name-width(lines[i]))
		}
		for _, d := range block {
			lines[0] += fmt.Sprintf("%4d  ", d.RFChannel)
			lines[1] += gainedText(d)
			lines[2] += holdsText(d.First)
			lines[3] += holdsText(d.Second)
		}
		t.line("")
		for _, l := range lines {
			t.line(l)
		}
	}
	for _, d := range v.Channels {
		if d.Margin != nil && !d.Certain {
			t.note("", "in brackets: not more than chance")
			break
		}
	}
}

// gainedText is six columns: what the first has more than the second.
func gainedText(d decide.Difference) string {
	switch {
	case d.Margin != nil:
		m, _ := known(d.Margin)
		text := strings.TrimSpace(twoFigures(m.v, false))
		if !strings.HasPrefix(text, "-") {
			text = "+" + text
		}
		if d.Certain {
			return fmt.Sprintf(" %-5s", text)
		}
		if text = "(" + text + ")"; len(text) > 6 {
			text = " (?)"
		}
		return fmt.Sprintf("%-6s", text)
	case d.First.Other || d.Second.Other:
		return "   -  "
	case d.Gained:
		return " all  "
	case d.Lost:
		return " none "
	case !d.First.Measured || !d.Second.Measured:
		return "   ?  "
	}
	return "   -  "
}

// holdsText is six columns: the probability that a channel holds, in per cent.
func holdsText(c decide.Chance) string {
	switch {
	case c.Other:
		return "   -  "
	case !c.Measured:
		return "   ?  "
	}
	p := math.Round(100 * c.Holds)
	if p == 100 && c.Holds < 1 {
		p = 99
	}
	return fmt.Sprintf("%4.0f  ", p)
}
