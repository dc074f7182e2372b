package plot

import (
	"bytes"
	"fmt"
	"image/color"
	"io"
	"strings"

	"rooftone/scan"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// TextOptions says how rows of text are written. The zero value is plain
// ASCII, 80 columns wide: right for a pipe.
type TextOptions struct {
	Width       int        // columns, at least 40; 0: 80
	UTF8        bool       // block characters and ±
	Color       bool       // 24-bit colour for the bars; they read the same without
	All         bool       // a row for each vacant channel too
	Brief       bool       // without what explains the rows
	ThresholdDB float64    // C/N that the margins were measured from, dB; 0: the survey's
	Units       site.Units // in which lengths are told where there is room for one; "": feet
}

// Rows writes the presence map of a survey as text, one row a channel, no line
// wider than the options say. Nothing in it depends on colour.
func Rows(w io.Writer, s *scan.Survey, o TextOptions) error {
	if s == nil {
		return errNoSurvey
	}
	if o.Width == 0 {
		o.Width = 80
	}
	o.Width = max(o.Width, 40)
	o.ThresholdDB = threshold(o.ThresholdDB, s)
	t := newTable(o)
	rows := lots(s)
	missing := "not covered"
	if s.Interrupted {
		missing = notVisited
	}
	t.note("Skyline: ", t.together(strings.Split(strings.Replace(tally(rows), "not covered", missing, 1), ", "), ","))
	t.note("", t.together(circumstances(s, rows, clock(s.Clock)), ";"))
	for _, m := range warnings(s, rows) {
		t.note("mind: ", m)
	}
	t.note("mind: ", inPart(rows))
	listed := t.rows(rows)
	var vacants, unseen []int
	for _, c := range rows {
		switch conditionOf(c) {
		case vacant:
			vacants = append(vacants, c.Channel.Number)
		case notCovered:
			unseen = append(unseen, c.Channel.Number)
		}
	}
	if !o.All {
		t.note("vacant: ", Ranges(vacants))
	}
	t.note(missing+": ", Ranges(unseen))
	t.note("not a station: ", notStations(rows))
	for _, m := range foreigners(rows) {
		t.note("mind: ", m)
	}
	if listed && !o.Brief {
		t.note("grades: ", grades(rows))
		t.legend()
	}
	if _, err := w.Write(t.b.Bytes()); err != nil {
		return fmt.Errorf("writing the rows: %w", err)
	}
	return nil
}

// table lays out the rows. Its columns are: channel, word, bar, margin with
// half its 95 % interval, C/N, limits.
type table struct {
	b      bytes.Buffer
	o      TextOptions
	ch     glyphs
	gauge  gauge
	scale  *scale
	plus   string // plus or minus
	ratio  bool   // there is room for C/N
	limits int    // width of the limits' column; 0 when there is no room
}

func newTable(o TextOptions) *table {
	t := &table{o: o, ch: barGlyphs(o.UTF8), scale: newScale(), plus: "+-"}
	if o.UTF8 {
		t.plus = "±"
	}
	room := o.Width - t.fixed()
	const ratio = 7
	// The narrower the terminal the more goes: first the limits get shorter,
	// then C/N goes, then the limits.
	switch {
	case room >= ratio+2+19+gaugeOf(5).width():
		t.ratio, t.limits = true, 19
	case room >= ratio+2+12+gaugeOf(3).width():
		t.ratio, t.limits = true, 12
	case room >= 2+10+gaugeOf(2).width():
		t.limits = 10
	}
	if t.ratio {
		room -= ratio
	}
	if t.limits > 0 {
		room -= 2 + t.limits
	}
	t.gauge = newGauge(room)
	if t.limits > 0 {
		t.limits += room - t.gauge.width()
	}
	return t
}

// fixed is the width of the channel, the word and the margin.
func (t *table) fixed() int { return 3 + 1 + wordColumn + 1 + 1 + 5 + 1 + t.halfColumn() }

// wordColumn is as wide as the longest word for a channel that has a row.
const wordColumn = len("ATSC 3.0")

// halfColumn is the width of half an interval with its sign.
func (t *table) halfColumn() int { return 3 + len([]rune(t.plus)) }

// rows writes the heading and the channels, and says if there were any.
func (t *table) rows(rows []scan.Channel) bool {
	first := true
	for _, c := range rows {
		if k := conditionOf(c); k == notCovered || k == vacant && !t.o.All {
			continue
		}
		if first {
			t.b.WriteByte('\n')
			t.heading()
			first = false
		}
		t.row(c)
	}
	if len(rows) > 0 {
		t.b.WriteByte('\n')
	}
	return !first
}

func (t *table) heading() {
	bar := []rune(strings.Repeat(" ", t.gauge.width()))
	write := func(at int, text string) {
		copy(bar[max(0, min(at, len(bar)-len(text))):], []rune(text))
	}
	write(0, fmt.Sprintf("%.0f", t.gauge.lowDB()))
	write(len(bar), fmt.Sprintf("%+.0f", t.gauge.highDB()))
	write(t.gauge.left, "0")
	write(t.gauge.left+t.gauge.toRoof, fmt.Sprintf("%+.0f", verdict.FirmMarginDB))
	line := fmt.Sprintf("%3s %-*s %s %-*s", "RF", wordColumn, "", string(bar), 6+t.halfColumn(), "margin dB")
	if t.ratio {
		line += " C/N dB"
	}
	if t.limits > 0 {
		line += "  limits"
	}
	t.line(line)
}

func (t *table) row(c scan.Channel) {
	number := "  ?"
	if n := c.Channel.Number; n > -100 && n < 1000 {
		number = fmt.Sprintf("%3d", n)
	}
	bar, margin, half := t.gauge.empty(t.ch), "", ""
	grade := fitRunes(t.plain(word(c)), wordColumn)
	text := number + " " + grade + strings.Repeat(" ", wordColumn-width(grade)) + " "
	m, ok := known(c.Margin)
	k := conditionOf(c)
	switch {
	case ok && (k == measured || k == unsure || k == foreign):
		bar = t.gauge.bar(m, k != measured, t.ch)
		margin = twoFigures(m.v, true)
		half = halfWidth(m.half, strings.HasSuffix(margin, " "), t.plus)
		text += t.coloured(bar, t.scale.screenTone(m.v))
	case k == unmeasured && c.Grade == verdict.Trace: // below the ground, who knows how deep
		bar[t.gauge.place(-1)] = t.ch.guess
		fallthrough
	default:
		text += string(bar)
	}
	text += fmt.Sprintf(" %-5s %-*s", margin, t.halfColumn(), half)
	if t.ratio {
		ratio := ""
		if v, ok := known(c.CN); ok && k != vacant && k != notCovered {
			ratio = twoFigures(v.v, false)
		}
		text += fmt.Sprintf("  %-5s", ratio)
	}
	if t.limits > 0 {
		text += "  " + joinFitting(cleanAll(t, reasons(c)), ", ", func(s string) bool { return width(s) <= t.limits })
	}
	t.line(text)
}

// grades says what the grades among the channels mean; "" when there are none.
func grades(rows []scan.Channel) string {
	given := map[verdict.Grade]bool{}
	for _, c := range rows {
		if word(c) == string(c.Grade) {
			given[c.Grade] = true
		}
	}
	var out []string
	for _, g := range []struct {
		grade verdict.Grade
		means string
	}{
		{verdict.Firm, fmt.Sprintf("%.0f dB and more to spare", verdict.FirmMarginDB)},
		{verdict.Slim, fmt.Sprintf("%.0f to %.0f", verdict.SlimMarginDB, verdict.FirmMarginDB)},
		{verdict.Cliff, fmt.Sprintf("less than %.0f: may go at any time", verdict.SlimMarginDB)},
		{verdict.Trace, "on the air, but no picture here"},
	} {
		if given[g.grade] {
			out = append(out, string(g.grade)+" "+g.means)
		}
	}
	return strings.Join(out, "; ")
}

// legend says what the rows mean.
func (t *table) legend() {
	t.note("bar: ", fmt.Sprintf("to the right of %c a channel decodes (C/N above %.3g dB) with so many dB in hand, "+
		"to the left it lacks so many; %c is the roof line, %.0f dB, enough for 95\u00a0%% of the spots around; "+
		"%c and %s show the 95\u00a0%% interval, %c what is unsure",
		t.ch.ground, t.o.ThresholdDB, t.ch.roof, verdict.FirmMarginDB, t.ch.blur, t.plus, t.ch.guess))
}

// coloured gives the bar its tone and leaves the marks as they are.
func (t *table) coloured(bar []rune, tone color.RGBA) string {
	if !t.o.Color {
		return string(bar)
	}
	var b strings.Builder
	on := false
	for _, r := range bar {
		inked := r != ' ' && r != t.ch.ground && r != t.ch.roof
		switch {
		case inked && !on:
			fmt.Fprintf(&b, "\x1b[38;2;%d;%d;%dm", tone.R, tone.G, tone.B)
		case !inked && on:
			b.WriteString("\x1b[0m")
		}
		on = inked
		b.WriteRune(r)
	}
	if on {
		b.WriteString("\x1b[0m")
	}
	return b.String()
}

// line writes one line without spaces at its end.
func (t *table) line(text string) {
	t.b.WriteString(strings.TrimRight(text, " "))
	t.b.WriteByte('\n')
}

// note writes a label and a text, wrapped to the width at its plain spaces,
// the lines after the first set in under the text. An empty text writes
// nothing.
func (t *table) note(label, text string) { t.set(label, text, min(len(label), 4)) }

// set is note with lines set in by so many columns.
func (t *table) set(label, text string, in int) {
	// A heading's degrees and its point of the compass stay together.
	text = strings.ReplaceAll(text, "\u00b0 ", "\u00b0\u00a0")
	words := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' })
	if len(words) == 0 {
		return
	}
	indent := strings.Repeat(" ", in)
	line, blank := label, label == ""
	for _, word := range words {
		word = t.plain(strings.ReplaceAll(word, "\u00b0\u00a0", "\u00b0 "))
		if !blank && width(strings.TrimRight(line, " "))+1+width(word) > t.o.Width {
			t.line(line)
			line, blank = indent, true
		}
		if !blank && !strings.HasSuffix(line, " ") {
			line += " "
		}
		for width(line)+width(word) > t.o.Width { // longer than a line
			head := fitRunes(word, t.o.Width-width(line))
			t.line(line + head)
			line, word = indent, word[len(head):]
		}
		line, blank = line+word, false
	}
	t.line(line)
}

// together joins phrases that a line break should not part, unless a phrase is
// too long for a line of its own.
func (t *table) together(phrases []string, end string) string {
	var out []string
	for i, p := range phrases {
		if i < len(phrases)-1 {
			p += end
		}
		if width(p) <= t.o.Width-4 {
			p = strings.ReplaceAll(p, " ", "\u00a0")
		}
		out = append(out, p)
	}
	return strings.Join(out, " ")
}

// plain leaves out what a terminal cannot show in one place, and for one that
// knows only ASCII spells what it can.
func (t *table) plain(text string) string {
	text = clean(text)
	if t.o.UTF8 {
		return text
	}
	text = spelling().Replace(text)
	return strings.Map(func(r rune) rune {
		if r > 126 {
			return '?'
		}
		return r
	}, text)
}

// spelling is how the signs that measured text is written with look in ASCII.
func spelling() *strings.Replacer {
	return strings.NewReplacer("\u2212", "-", "\u2013", "-", "\u2014", "-", "\u00b5", "u", "\u03bc", "u", "\u00b1", "+-",
		"\u2265", ">=", "\u2264", "<=", "\u00d7", "x", "\u2026", "...", "\u2018", "'", "\u2019", "'", "\u201c", "\"", "\u201d", "\"",
		"\u00b0", " deg", "\u00bd", "1/2", "\u00b2", "2")
}

func cleanAll(t *table, words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = t.plain(w)
	}
	return out
}

// width is at least the number of columns that text takes: two each for the
// scripts in which a character may be wide.
func width(text string) int {
	n := 0
	for _, r := range text {
		n += runeWidth(r)
	}
	return n
}

func runeWidth(r rune) int {
	switch {
	case r >= 0x1100 && !(r >= 0x2000 && r < 0x2600):
		return 2
	}
	return 1
}

// fitRunes cuts text to a number of columns.
func fitRunes(text string, columns int) string {
	n := 0
	for i, r := range text {
		if n += runeWidth(r); n > columns {
			return text[:i]
		}
	}
	return text
}
