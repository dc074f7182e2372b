package plot

import (
	"fmt"
	"io"
	"strings"

	"rooftone/scan"
)

// Details writes all that is known of one channel of a survey as text: its
// row of the skyline, what limits it and what to try, every figure with half
// its 95 % interval, its echoes, and what to mind where the advice leads up a
// roof. No line is wider than the options say, and nothing depends on colour.
func Details(w io.Writer, c scan.Channel, s *scan.Survey, o TextOptions) error {
	if s == nil {
		return errNoSurvey
	}
	if o.Width == 0 {
		o.Width = 80
	}
	o.Width = max(o.Width, 40)
	o.ThresholdDB = threshold(o.ThresholdDB, s)
	o.All = true
	d := &details{newTable(o), inTerminal(o.UTF8)}
	d.head(c, s)
	d.judgement(c)
	if conditionOf(c) == notCovered {
		return d.end(w) // no figure, no echo
	}
	d.section("figures, each with half its 95\u00a0% interval")
	d.facts(facts(c, s, o.ThresholdDB))
	d.section("echoes")
	d.echoes(c)
	return d.end(w)
}

func (d *details) end(w io.Writer) error {
	if _, err := w.Write(d.b.Bytes()); err != nil {
		return fmt.Errorf("writing the details: %w", err)
	}
	return nil
}

type details struct {
	*table
	write writing
}

func (d *details) section(title string) {
	d.b.WriteByte('\n')
	d.note("", title)
}

func (d *details) head(c scan.Channel, s *scan.Survey) {
	head, said := channelInWords(c)+": "+gradeInWords(c), conclusion(c)
	if conditionOf(c) == notCovered && s.Interrupted {
		head, said = channelInWords(c)+": "+notVisited, "the visit ended before this channel was measured"
	}
	if t := standing(c, d.write); t != "" {
		head += ", " + t
	}
	d.note("", head)
	d.note("", said)
	d.note("", d.together(circumstances(s, []scan.Channel{c}, clock(s.Clock)), ";"))
	for _, m := range warnings(s, []scan.Channel{c}) {
		d.note("mind: ", m)
	}
	if k := conditionOf(c); k != notCovered && k != vacant {
		d.b.WriteByte('\n')
		d.heading()
		d.row(c)
	}
}

// channelInWords is a channel's number and where it lies.
func channelInWords(c scan.Channel) string {
	text := fmt.Sprintf("Channel %d", c.Channel.Number)
	if f := c.Channel.LowerHz; f >= 0 && f < 1e11 {
		text += fmt.Sprintf(", %.6g-%.6g MHz", f/1e6, c.Channel.UpperHz()/1e6)
	}
	return text
}

// judgement writes what limits the channel and what to try.
func (d *details) judgement(c scan.Channel) {
	if len(c.Reasons) > 0 {
		d.section("what was found")
		for _, r := range c.Reasons {
			d.set("  ", strings.TrimSuffix(string(r.Limit)+": "+r.Evidence, ": "), 4)
		}
	}
	if len(c.Advice) > 0 {
		d.section("what to try, in this order")
		for i, a := range c.Advice {
			d.set(fmt.Sprintf("  %d. ", i+1), a, 5)
		}
	}
	if list := Cautions(c.Advice); len(list) > 0 {
		d.section("before anybody climbs")
		for _, m := range list {
			d.set("  - ", m, 4)
		}
	}
}

func (d *details) facts(list []fact) {
	if len(list) == 0 {
		d.note("  ", "none")
	}
	const name, whole, fraction = 16, 5, 3
	for _, f := range list {
		number, spread := d.write.figureOf(f)
		line := "  " + fmt.Sprintf("%-*s", name, f.name)
		if !f.measured {
			d.line(line + "not measured")
			continue
		}
		head, tail, cut := strings.Cut(number, ".")
		if cut {
			tail = "." + tail
		}
		line += fmt.Sprintf("%*s%-*s %-6s %-5s", whole, head, fraction, tail, spread, f.unit)
		if note := "  " + f.note; width(line+note) <= d.o.Width {
			line += note
		}
		d.line(fitRunes(d.plain2(line), d.o.Width))
	}
}

// plain2 makes a line that was laid out plain, and keeps its spaces in front.
func (d *details) plain2(line string) string {
	text := strings.TrimLeft(line, " ")
	return strings.Repeat(" ", len(line)-len(text)) + d.plain(text)
}

func (d *details) echoes(c scan.Channel) {
	if s := noEchoes(c); s != "" {
		d.note("  ", strings.ReplaceAll(s, "\u2212", d.write.minus))
		return
	}
	list := arrivals(c)
	for _, line := range sketch(list, min(d.o.Width, 80)-2, d.o.UTF8, d.write, d.o.Units) {
		d.line(fitRunes("  "+line, d.o.Width))
	}
	d.b.WriteByte('\n')
	d.echoTable(list)
	if list[0].us.v < 0 {
		d.note("  ", "what comes early came by a shorter way: the strongest path may itself be an echo")
	}
	d.note("  ", "a wall straight behind the antenna stands half the extra path away, one at its side the whole of it")
}

// echoTable lists the echoes under the letters that the sketch gives them, as
// many columns as there is room for.
func (d *details) echoTable(list []arrival) {
	own, other := lengths(d.o.Units)
	columns := []struct {
		head string
		wide int
	}{{d.write.micro + "s late", 13}, {"dB", 12}, {own.unit + " further", 12}, {other.unit, 7}, {own.unit + " if behind", 14}}
	n, room := 0, d.o.Width-4
	for n < len(columns) && room >= columns[n].wide {
		room -= columns[n].wide
		n++
	}
	line := "    "
	for _, k := range columns[:n] {
		line += fmt.Sprintf("%*s", k.wide, k.head)
	}
	d.line(line)
	blamed := false
	for i, a := range list {
		cells := []string{
			pair(d.write.delay(a), d.write.spread(a.us.half, decimals(a.us.half, 2)), 6),
			pair(d.write.level(a), d.write.spread(a.db.half, decimals(a.db.half, 1)), 5),
			"-", "-", "-",
		}
		if a.us.v > 0 {
			cells[2], cells[3] = d.write.way(a, own.perUS), d.write.way(a, other.perUS)
			cells[4] = d.write.way(arrival{us: value{a.us.v / 2, a.us.half / 2}}, own.perUS)
		}
		mark := " "
		if a.blamed {
			mark, blamed = "*", true
		}
		line := "  " + string(letterOf(i)) + mark
		for j, k := range columns[:n] {
			cell := fitRunes(cells[j], k.wide-1)
			line += strings.Repeat(" ", k.wide-width(cell)) + cell
		}
		d.line(line)
	}
	if blamed {
		d.note("  ", "* limits decoding")
	}
}

// pair writes a number and its spread, the spread in a column of its own.
func pair(number, spread string, wide int) string {
	return number + " " + spread + strings.Repeat(" ", max(0, wide-width(spread)))
}
