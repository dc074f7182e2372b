package handover

import (
	"fmt"
	"math"
	"slices"

	"rooftone/plot"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// The bars' drawing: so many units a dB, from low to high.
const (
	barLow, barHigh = -20.0, 30.0
	barUnit         = 6.0
)

func place(db float64) float64 { return barUnit * (math.Max(barLow, math.Min(barHigh, db)) - barLow) }

func units(v float64) string { return fmt.Sprintf("%.1f", v) }

func newBar(e *measure.Estimate) *bar {
	v, half, ok := plot.Interval(e)
	if !ok {
		return nil
	}
	zero, at := place(0), place(v)
	c := plot.Tone(v)
	return &bar{
		X: units(math.Min(zero, at)), Width: units(math.Max(1, math.Abs(at-zero))),
		Tone: fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B),
		Low:  units(place(v - half)), High: units(place(v + half)), Interval: half > 0,
	}
}

func (b *builder) channels() {
	s := b.sheet
	for _, db := range []float64{-20, -10, 0, verdict.FirmMarginDB, 20, 30} {
		text := trimmed(db)
		switch {
		case db == barLow || db == barHigh:
			text = ""
		case db > 0:
			text = "+" + text
		}
		s.Axis = append(s.Axis, tick{X: units(place(db)), Text: text, Roof: db == verdict.FirmMarginDB, Zero: db == 0})
	}
	spot := b.chosen.Spot
	marks := site.MarksOf(spot, b.Marks, b.ranking.Options)
	for _, w := range b.Places.Wanted {
		c := spot.Channels[w.RFChannel]
		other := slices.Contains(b.ranking.OtherStandard, w.RFChannel)
		if other { // no margin of ours is its
			c.Margin = nil
		}
		row := channelRow{Number: w.RFChannel, Label: b.Places.Labels[w.RFChannel]}
		switch {
		case w.Importance == 0:
			row.Counts = "not counted"
		case w.Importance > 1:
			row.Counts = fmt.Sprintf("counts as %d", w.Importance)
		}
		row.Outlook = b.outlook(spot, w.RFChannel)
		row.Bar = newBar(c.Margin)
		row.Margin, row.Half = plot.MarginOnPaper(c.Margin)
		row.Holds = b.holds(w.RFChannel)
		if h, _ := site.Latest(marks, w.RFChannel); h != nil {
			row.Why = why(h)
			if text := basis(h, c.Margin); text != "" {
				row.Why = append(row.Why, text)
			}
		}
		if !other {
			row.Elsewhere = b.elsewhere(w.RFChannel)
		}
		s.Channels = append(s.Channels, row)
	}
}

// holds says how probable it is that a channel decodes and still does at another
// time; "" where that is not known.
func (b *builder) holds(rf int) string {
	for _, c := range b.chosen.Chances {
		if c.RFChannel == rf && c.Measured && !c.Other && c.Margin != nil {
			return "holds with " + percent(c.Holds)
		}
	}
	return ""
}

// why says what limits a channel: the evidence where the mark keeps it.
func why(h *site.Heard) []string {
	var out []string
	for i, l := range h.Limits {
		text := limitWords(l)
		if i < len(h.Evidence) && h.Evidence[i] != "" {
			text += ": " + h.Evidence[i]
		}
		out = append(out, text)
	}
	return out
}

// elsewhere says where a channel that the chosen place does not give enough of
// does better, if it decodes there.
func (b *builder) elsewhere(rf int) string {
	here := b.chosen.Spot.Channels[rf].Margin
	if here != nil && here.Value >= b.ranking.Options.EnoughDB {
		return ""
	}
	var best *site.Spot
	for i := range b.ranking.Rows {
		s := b.ranking.Rows[i].Spot
		m := s.Channels[rf].Margin
		if m == nil || m.Value < 0 || here != nil && m.Value < here.Value+1.96*math.Hypot(m.Sigma, here.Sigma) {
			continue
		}
		if best == nil || m.Value > best.Channels[rf].Margin.Value {
			best = s
		}
	}
	if best == nil {
		return ""
	}
	number, half := plot.MarginOnPaper(best.Channels[rf].Margin)
	return fmt.Sprintf("Better at %s: %s\u00a0%s\u00a0dB.", best, number, half)
}
