package plot

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// Places is what was learnt at the places of a house.
type Places struct {
	House   string
	Wanted  []site.Want // those of importance 0 too
	Ranking decide.Ranking

	Since   time.Time // what is compared; zero: nothing is
	Changes []site.Change
	Visited site.Visited

	Labels map[int]string // what people call the channels

	// For the rose.
	North   site.North        // from which bearings are counted; "" where nobody said
	Towards map[int][]float64 // where each channel's stations stand, by the same north
	Beams   map[int]Beam      // of the place that Turned returns, by channel
	Turns   []site.TurnRecord // in the order of time

	Unclear []site.Unclear // spots that may be visits to one another
}

var errNoPlaces = errors.New("there are no places to draw")

// known channel of a spot.
func (p *Places) at(row *decide.Row, rfChannel int) (c site.Combined, measured bool) {
	c, measured = row.Spot.Channels[rfChannel]
	return c, measured
}

// cell is what one spot gives of one channel, in a word or a number.
type spotCell struct {
	m        value
	ok       bool // m is a margin
	measured bool
	there    bool // something is, however weak
	other    bool // by another standard: it has no margin
}

func (p *Places) cell(row *decide.Row, rfChannel int) spotCell {
	c, measured := p.at(row, rfChannel)
	out := spotCell{measured: measured, there: measured && c.Presence != measure.Vacant}
	if slices.Contains(p.Ranking.OtherStandard, rfChannel) {
		out.other = measured
		return out
	}
	out.m, out.ok = known(c.Margin)
	return out
}

// tied lists the ranks that several rows share, with their rows.
func (p *Places) tied() [][]*decide.Row {
	var out [][]*decide.Row
	rows := p.Ranking.Rows
	for i := 0; i < len(rows); {
		j := i
		var group []*decide.Row
		for ; j < len(rows) && rows[j].Rank == rows[i].Rank; j++ {
			group = append(group, &rows[j])
		}
		if len(group) > 1 {
			out = append(out, group)
		}
		i = j
	}
	return out
}

// rankOf writes a row's rank, with a sign of equality where it is shared, and a
// question mark where what was not measured could make it the best.
func (p *Places) rankOf(row *decide.Row) string {
	n := 0
	for i := range p.Ranking.Rows {
		if p.Ranking.Rows[i].Rank == row.Rank {
			n++
		}
	}
	if n > 1 {
		return fmt.Sprintf("%d=", row.Rank)
	}
	if row.Standing == decide.Open {
		return fmt.Sprintf("%d?", row.Rank)
	}
	return fmt.Sprint(row.Rank)
}

// weight is how many channels are counted: those that could have a margin.
func (p *Places) weight() int { return len(p.Ranking.Wanted) - len(p.Ranking.OtherStandard) }

// headline says in one line what the table and the grid show.
func (p *Places) headline() string {
	if len(p.Ranking.Rows) == 0 {
		return "nothing was marked"
	}
	first := p.Ranking.Rows[0]
	if t := p.tied(); len(t) > 0 && t[0][0].Rank == 1 {
		var names []string
		for _, r := range t[0] {
			names = append(names, r.Spot.String())
		}
		return "best, and equal: " + joined(names)
	}
	best := "best"
	if len(p.Ranking.Next) > 0 {
		best = "best as far as is known"
	}
	return fmt.Sprintf("%s: %s, %d of %d channels with enough margin", best, first.Spot, len(first.Enough), p.weight())
}

// spotName names a spot in the room there is: the height goes
// first, then the place is shortened, then the point of the compass goes; the
// heading in degrees stays.
func spotName(s *site.Spot, fits func(string) bool) string {
	text := s.String()
	if fits(text) {
		return text
	}
	place := []rune(s.Place)
	short := func(n int) site.Spot {
		short := site.Spot{Place: strings.TrimRight(string(place[:n]), " ,."), BearingDeg: s.BearingDeg}
		if n < len(place) {
			short.Place += "\u2026"
		}
		return short
	}
	const enough = 5 // letters that tell a place
	for n := len(place); n >= min(enough, len(place)) && n > 0; n-- {
		at := short(n)
		if text = at.String(); fits(text) {
			return text
		}
	}
	for n := len(place); n > 0; n-- {
		at := short(n)
		text = at.String()
		if s.BearingDeg != nil {
			text = strings.TrimSuffix(text, " "+site.Point(*s.BearingDeg))
		}
		if fits(text) {
			break
		}
	}
	return text
}

// counted writes a number of things.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// joined writes names as a person lists them.
func joined(names []string) string {
	const most = 6
	if n := len(names) - most + 1; n > 1 {
		names = append(names[:most-1:most-1], fmt.Sprintf("%d more", n))
	}
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], "; ") + " and " + names[len(names)-1]
}

// UnclearLines say which spots may be visits to one another, and were not put
// together.
func (p *Places) UnclearLines() []string {
	var out []string
	for _, u := range p.Unclear {
		out = append(out, unclear(u)+": taken for places of their own")
	}
	return out
}

// unclear says which spot may be which others, and what would tell.
func unclear(u site.Unclear) string {
	var among []string
	for _, s := range u.Among {
		among = append(among, s.String())
	}
	if u.NoHeading {
		return fmt.Sprintf("%s may be %s, but for one of them no heading was told", u.Spot, strings.Join(among, " or "))
	}
	return fmt.Sprintf("%s may be %s", u.Spot, strings.Join(among, " or "))
}

// turnedAnywhere reports whether any place has a heading.
func (p *Places) turnedAnywhere() bool {
	for i := range p.Ranking.Rows {
		if p.Ranking.Rows[i].Spot.BearingDeg != nil {
			return true
		}
	}
	return false
}

// NorthLine says of all headings that are shown from which north they are; ""
// where there are none.
func (p *Places) NorthLine() string {
	if !p.turnedAnywhere() {
		return ""
	}
	return p.North.Sentence()
}

// changes say what became of the places since a moment.
func (p *Places) changes() []string {
	if p.Since.IsZero() {
		return nil
	}
	var out []string
	for _, c := range p.Changes {
		var moved []string
		for _, ch := range c.Channels {
			switch {
			case !ch.Certain:
			case ch.Change != nil:
				m, _ := known(ch.Change)
				moved = append(moved, fmt.Sprintf("channel %d %s %s dB", ch.RFChannel, strings.TrimSpace(twoFigures(m.v, true)), halfWidth(m.half, false, "\u00b1")))
			case ch.Since != nil:
				moved = append(moved, fmt.Sprintf("channel %d came", ch.RFChannel))
			default:
				moved = append(moved, fmt.Sprintf("channel %d went", ch.RFChannel))
			}
		}
		text := "no change that is more than chance"
		if len(moved) > 0 {
			text = strings.Join(moved, ", ")
		}
		out = append(out, fmt.Sprintf("%s%s: %s", c.Spot, otherwise(c), text))
	}
	for _, s := range p.Visited.New {
		text := fmt.Sprintf("%s: new", s)
		for _, u := range p.Visited.Unclear {
			if u.Spot == s {
				text = unclear(u) + ": compared with neither; mark it again at one of these headings and heights"
				if len(u.Among) == 1 {
					text = unclear(u) + ": not compared"
				}
			}
		}
		out = append(out, text)
	}
	for _, s := range p.Visited.Left {
		out = append(out, fmt.Sprintf("%s: not visited since", s))
	}
	return out
}

// otherwise says how a spot was told before, where that was otherwise.
func otherwise(c site.Change) string {
	now, before := c.Spot.String(), c.Before.String()
	if strings.EqualFold(now, before) {
		return ""
	}
	return fmt.Sprintf(" (before: %s)", before)
}

// PlaceRows writes a house's places as text, the best first, and the margin of
// each wanted channel at each, no line wider than the options say.
func PlaceRows(w io.Writer, p *Places, o TextOptions) error {
	if p == nil {
		return errNoPlaces
	}
	if o.Width == 0 {
		o.Width = 80
	}
	o.Width = max(o.Width, 40)
	t := newTable(o)
	t.note("", fmt.Sprintf("%s: %s, %s; %.3g dB of margin is enough", p.House,
		counted(p.weight(), "wanted channel", "wanted channels"),
		counted(len(p.Ranking.Rows), "place", "places and headings"), p.Ranking.Options.EnoughDB))
	if ties := p.tied(); len(p.Ranking.Rows) > 0 && (len(ties) == 0 || ties[0][0].Rank > 1) {
		t.note("", p.headline())
	}
	if len(p.Ranking.Rows) > 0 {
		t.line("")
		t.ranks(p)
		t.line("")
		t.margins(p)
		t.versus(p)
		t.line("")
	}
	for _, r := range p.remarks() {
		t.note("", r)
	}
	joining := p.Joining()
	for _, how := range joining {
		t.note("", how)
	}
	if len(joining) > 0 {
		t.note("", "before anybody climbs: "+strings.Join(Cautions([]string{"antenna"}), "; "))
	}
	for i, c := range p.changes() {
		if i == 0 {
			t.line("")
			t.note("", "since "+p.Since.Format("2006-01-02 15:04")+":")
		}
		t.note("  ", c)
	}
	t.note("", p.NorthLine())
	if len(p.Ranking.Rows) > 0 {
		t.note("", "weakest: of the wanted channels that some place gives, in dB above what a receiver needs, with its 95\u00a0% interval; "+
			"short: channels with less than enough, in brackets those that are not there, with ? those not measured")
		t.note("", fmt.Sprintf("holds: that it decodes and still does at another time, when the margin spreads by %.2g\u00a0dB over time; "+
			"%.3g\u00a0dB of margin hold 95\u00a0%%", p.Ranking.SpreadDB, p.Ranking.Options.EnoughDB))
	}
	if _, err := w.Write(t.b.Bytes()); err != nil {
		return fmt.Errorf("writing the places: %w", err)
	}
	return nil
}

// ranks writes one row a place.
func (t *table) ranks(p *Places) {
	const rank, enough, short = 4, 8, 16
	weakest, exact := 3+1+5, t.o.Width >= 56
	if exact {
		weakest += 1 + t.halfColumn()
	}
	name := t.o.Width - rank - 1 - 2 - enough - 2 - weakest
	lacking := 0
	if t.o.Width >= 72 {
		lacking = short
		name -= 2 + short
	}
	// No wider than the longest name: what belongs together stands together.
	longest := len("place")
	for i := range p.Ranking.Rows {
		longest = max(longest, width(t.plain(p.Ranking.Rows[i].Spot.String())))
	}
	if longest < name {
		if lacking > 0 {
			lacking += name - longest
		}
		name = longest
	}
	row := func(a, b, c, d, e string) {
		line := fmt.Sprintf("%*s %s%s  %*s  %-*s", rank, a, b, strings.Repeat(" ", name-width(b)), enough, c, weakest, d)
		if lacking > 0 {
			line += "  " + e
		}
		t.line(line)
	}
	head := " RF   dB"
	if exact {
		head = " RF weakest dB"
	}
	row("rank", fitRunes("place", name), "enough", head, "short")
	for i := range p.Ranking.Rows {
		r := &p.Ranking.Rows[i]
		rk := p.rankOf(r)
		if !strings.HasSuffix(rk, "=") && !strings.HasSuffix(rk, "?") {
			rk += " "
		}
		weak := ""
		if r.Weakest != nil {
			m, _ := known(&r.Weakest.Margin)
			text := twoFigures(m.v, true)
			weak = fmt.Sprintf("%3d %-5s", r.Weakest.RFChannel, text)
			if exact {
				weak += " " + halfWidth(m.half, strings.HasSuffix(text, " "), t.plus)
			}
		}
		var lack []string
		for _, n := range r.Short {
			lack = append(lack, fmt.Sprint(n))
		}
		for _, n := range r.Absent {
			lack = append(lack, fmt.Sprintf("(%d)", n))
		}
		for _, n := range r.Unmeasured {
			lack = append(lack, fmt.Sprintf("%d?", n))
		}
		row(rk, t.spot(r.Spot, name), fmt.Sprintf("%d of %d", len(r.Enough), p.weight()), weak,
			joinFitting(lack, " ", func(s string) bool { return width(s) <= lacking }))
	}
}

// spot names a spot in so many columns.
func (t *table) spot(s *site.Spot, columns int) string {
	return fitRunes(t.plain(spotName(s, func(text string) bool { return width(t.plain(text)) <= columns })), columns)
}

// margins writes the margin of each channel at each place, in as many blocks of
// columns as the width wants.
func (t *table) margins(p *Places) {
	name, per := t.columns(p)
	for k, block := range slices.Collect(slices.Chunk(p.Wanted, per)) {
		if k > 0 {
			t.line("")
		}
		line := fmt.Sprintf("%-*s", name, "margin dB")
		for _, w := range block {
			line += fmt.Sprintf("%4d  ", w.RFChannel)
		}
		t.line(line)
		for i := range p.Ranking.Rows {
			r := &p.Ranking.Rows[i]
			b := t.spot(r.Spot, name)
			line := b + strings.Repeat(" ", name-width(b))
			for _, w := range block {
				c := p.cell(r, w.RFChannel)
				text := "   ?  "
				switch {
				case c.other:
					text = " ATSC3"
				case c.ok:
					text = " " + fmt.Sprintf("%-5s", twoFigures(c.m.v, true))
				case c.there:
					text = " weak "
				case c.measured:
					text = "   -  "
				}
				line += text
			}
			t.line(line)
		}
	}
}

// columns is how wide a place's name is beside the channels' columns, and how
// many of these stand beside it.
func (t *table) columns(p *Places) (name, per int) {
	const column = 6
	for i := range p.Ranking.Rows {
		name = max(name, width(t.plain(p.Ranking.Rows[i].Spot.String())))
	}
	name = max(len("1 against 2"), min(name, t.o.Width/2-6))
	return name, max(1, (t.o.Width-name)/column)
}

// Lines writes lines of text, each wrapped to the width that the options say.
func Lines(w io.Writer, lines []string, o TextOptions) error {
	if o.Width == 0 {
		o.Width = 80
	}
	o.Width = max(o.Width, 40)
	t := newTable(o)
	for _, l := range lines {
		if l == "" {
			t.line("")
			continue
		}
		lead := len(l) - len(strings.TrimLeft(l, " "))
		t.set(l[:lead], l[lead:], lead+5)
	}
	if _, err := w.Write(t.b.Bytes()); err != nil {
		return fmt.Errorf("writing the lines: %w", err)
	}
	return nil
}
