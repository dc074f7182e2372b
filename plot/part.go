package plot

import (
	"fmt"
	"math"
	"strings"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// This file knows of channels of which only a part was heard: what to say of
// them, and how to draw the rest of them, which is in dots, as all is that was
// not heard.

// basis says what a channel's figures rest on, "" where they rest on all of it.
func basis(c scan.Channel) string { return verdict.Basis(c.SeenShare()) }

// seenSpans are the parts of a channel that were heard, within its edges and
// apart, in Hz.
func seenSpans(c scan.Channel) []band.Span {
	whole := c.Channel.Span()
	if c.Heard() && basis(c) == "" {
		return []band.Span{whole}
	}
	var inside []band.Span
	for _, s := range c.Seen {
		inside = append(inside, band.Span{LowHz: math.Max(s.LowHz, whole.LowHz), HighHz: math.Min(s.HighHz, whole.HighHz)})
	}
	return band.Join(inside, 0)
}

// unseenSpans are the parts of a channel that was heard in part that were not.
func unseenSpans(c scan.Channel) []band.Span {
	if !c.Heard() || basis(c) == "" {
		return nil
	}
	var out []band.Span
	at := c.Channel.LowerHz
	for _, s := range append(seenSpans(c), band.Span{LowHz: c.Channel.UpperHz(), HighHz: c.Channel.UpperHz()}) {
		if s.LowHz > at {
			out = append(out, band.Span{LowHz: at, HighHz: s.LowHz})
		}
		at = math.Max(at, s.HighHz)
	}
	return out
}

// reachHz is how far apart the lowest and the highest frequency are that were
// heard of a channel: two paths whose delays differ by less than its inverse
// cannot be told apart.
func reachHz(c scan.Channel) float64 {
	if s := seenSpans(c); len(s) > 0 {
		return s[len(s)-1].HighHz - s[0].LowHz
	}
	return 0
}

// spansInWords writes spans as "519.0-521.1 MHz", several of them with commas.
func spansInWords(list []band.Span) string {
	var out []string
	for _, s := range list {
		out = append(out, fmt.Sprintf("%.1f-%.1f", s.LowHz/1e6, s.HighHz/1e6))
	}
	const most = 3
	if len(out) > most {
		out = append(out[:most-1], fmt.Sprintf("%d more", len(out)-most+1))
	}
	return strings.Join(out, ", ") + " MHz"
}

// inPart says which channels were heard in part, and how much of them; "" when
// none was.
func inPart(rows []scan.Channel) string {
	var numbers []int
	var each []string
	least, most := math.Inf(1), 0.0
	for _, c := range rows {
		if !c.Heard() || basis(c) == "" {
			continue
		}
		mhz := math.Min(c.SeenShare(), 1) * band.WidthHz / 1e6
		numbers = append(numbers, c.Channel.Number)
		each = append(each, fmt.Sprintf("%d (%.2g MHz)", c.Channel.Number, mhz))
		least, most = math.Min(least, mhz), math.Max(most, mhz)
	}
	const few = 8
	switch {
	case len(numbers) == 0:
		return ""
	case len(numbers) == 1:
		return fmt.Sprintf("channel %d was heard in part: %.2g of its %.0f MHz", numbers[0], most, band.WidthHz/1e6)
	case len(numbers) <= few:
		return fmt.Sprintf("heard in part, of %.0f MHz each: channels %s", band.WidthHz/1e6, strings.Join(each, ", "))
	}
	return fmt.Sprintf("heard in part, %.2g to %.2g of %.0f MHz each: channels %s", least, most, band.WidthHz/1e6, Ranges(numbers))
}

// gradeInWords is a channel's one word, and what else it could be by the
// interval of its margin.
func gradeInWords(c scan.Channel) string {
	text := word(c)
	if conditionOf(c) != measured || c.Grade == "" {
		return text
	}
	if could := verdict.Could(c.Margin); could != "" {
		text += ", " + could
	}
	return text
}

// occupied reports whether what is on a channel is known to be no television.
func occupied(c scan.Channel) bool { return c.Occupant != nil && verdict.Occupied(&c.Reading) }

// standardOf is what a channel's signal is; what fills it and is no television
// goes by the name of any other standard.
func standardOf(c scan.Channel) measure.Standard {
	if occupied(c) {
		return measure.OtherStandard
	}
	return c.Standard
}

// fence outlines a place of which nothing was heard, and says so where there is
// room.
func (p *pen) fence(b box) {
	const least = 1.5 // of a box; a narrower one is a line
	if b.x1-b.x0 < least {
		mid := (b.x0 + b.x1) / 2
		p.line(soft, 0.7, fenceDashes(), point{mid, b.y0}, point{mid, b.y1})
		return
	}
	p.outline(soft, 0.7, fenceDashes(), rectangle(b)...)
	const text = "not heard"
	l := letters{size: 7, ink: soft}
	mid, y := (b.x0+b.x1)/2, (b.y0+b.y1)/2
	switch wide, high := b.x1-b.x0, b.y1-b.y0; {
	case p.width(l, text)+6 <= wide && high > 2*l.size:
		p.text(l, mid, y-capital/2*l.size, 0.5, text)
	case p.width(l, text)+6 <= high && wide > 1.3*l.size:
		p.upright(l, mid, y, 0.5, text)
	}
}

// fenceDashes are the dots around all that was not heard.
func fenceDashes() []float64 { return []float64{0.8, 2.2} }
