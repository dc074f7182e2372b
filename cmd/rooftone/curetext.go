package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"

	"rooftone/plot"
	"rooftone/scan/cure"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// cureAnswer is what cure has to say.
type cureAnswer struct {
	what      string // the place, or the source
	threshold float64
	leadText  []string // nil where nobody told of a lead

	channels  []cure.Channel
	line      []cure.Part
	origins   []cure.Origin
	counsels  []cure.Counsel
	elsewhere map[int]betterPlace // by RF channel: a marked place that gives it more
	outcomes  []cure.Outcome
	asked     bool // one change, the user's own
	listed    bool // somebody said which channels are wanted
	named     bool // with this very command
	parts     []cure.Part
	check     *cure.Check
}

// cureCaution stands beside advice that leads up.
func cureCaution() string {
	return "Before anybody climbs: " + strings.Join(plot.Cautions([]string{"antenna"}), "; ") +
		". An amplifier at the antenna is fed through the cable by its own supply: switch that off before the cable is touched, and take the radio off it unless what passes direct current is known."
}

// write says it for people.
func (a *cureAnswer) write(w io.Writer, s screen) error {
	t := newProse(s)
	a.head(t)
	a.now(t)
	if a.asked {
		a.one(t, &a.outcomes[0])
	} else {
		a.menu(t)
	}
	a.compare(t)
	a.conclude(t)
	a.notes(t)
	return t.writeTo(w)
}

func (a *cureAnswer) head(t *prose) {
	t.para("", oneLine(a.what))
	switch {
	case a.leadText == nil:
		t.para("Lead      ", "not told: 0 to 9 dB are taken for it at 600 MHz, which makes all intervals wide; tell it with --lead")
	case len(a.leadText) == 0:
		t.para("Lead      ", "none: the radio is at the antenna")
	default:
		t.para("Lead      ", oneLine(strings.Join(a.leadText, ", ")))
	}
}

// now is the table of what is: margins, and where the noise comes from.
func (a *cureAnswer) now(t *prose) {
	if len(a.origins) == 0 {
		return
	}
	t.line("")
	t.line(" RF  margin    of the noise: outside       lead   receiver      other")
	for i := range a.origins {
		o := &a.origins[i]
		other := cure.Interval{Middle: o.Products.Middle + o.Under.Middle, Low: math.Max(o.Products.Low, o.Under.Low), High: math.Min(1, o.Products.High+o.Under.High)}
		t.line("%s", strings.TrimRight(fmt.Sprintf("%3d %+6.1f dB %24s %10s %10s %10s  %s", o.Channel.Number, a.channels[o.Index].Margin.Value,
			percents(o.Outside), percents(o.Line), percents(o.Receiver), percents(other), oneLine(a.channels[o.Index].Label)), " "))
	}
}

// percents writes an interval of shares.
func percents(i cure.Interval) string {
	low, high := math.Round(100*i.Low), math.Round(100*i.High)
	if high-low < 2 {
		return fmt.Sprintf("%.0f %%", 100*i.Middle)
	}
	return fmt.Sprintf("%.0f-%.0f %%", low, high)
}

// spanned writes an interval of dB with its signs.
func spanned(i cure.Interval) string {
	low, high := tidy(i.Low), tidy(i.High)
	if low == high {
		return low
	}
	return low + " to " + high
}

// short writes an interval of dB where there is little room: wide ones in whole dB.
func short(i cure.Interval) string {
	const wide = 3
	if i.High-i.Low > wide {
		return fmt.Sprintf("%+.0f..%+.0f", math.Round(i.Low)+0, math.Round(i.High)+0)
	}
	if low, high := tidy(i.Low), tidy(i.High); low != high {
		return low + ".." + high
	}
	return tidy(i.Middle)
}

// tidy is a figure of dB to a tenth, and never −0.
func tidy(dB float64) string {
	dB = math.Round(10*dB)/10 + 0
	return fmt.Sprintf("%+.1f", dB)
}

// one tells of the one change that was asked for, channel by channel.
func (a *cureAnswer) one(t *prose, o *cure.Outcome) {
	var typed []string
	for i := range a.parts {
		typed = append(typed, a.parts[i].String())
	}
	if o.Change.Without {
		typed = append(typed, "without the lead as installed")
	}
	t.line("")
	t.para("Change    ", strings.Join(typed, ", "))
	t.line("")
	t.line(" RF  margin now  change, 95 %%       then, 95 %%")
	for i := range o.Channels {
		c := &o.Channels[i]
		t.line("%3d %8.1f dB   %-16s  %-16s  %s", c.Channel.Number, a.channels[c.Index].Margin.Value,
			spanned(c.Change), spanned(c.Margin), a.becomes(c))
	}
	t.line("")
	t.para("", a.counted(o))
}

// becomes says what a change makes of a channel.
func (a *cureAnswer) becomes(c *cure.ChannelOutcome) string {
	text := ""
	switch now := a.channels[c.Index].Margin.Value; c.Move(now) {
	case cure.Falls:
		text = "falls"
	case cure.MayFall:
		text = fmt.Sprintf("may fall: decodes with %.0f %%", 100*c.Decodes)
	case cure.Comes:
		text = "comes: decodes"
	case cure.MayCome:
		text = fmt.Sprintf("may come: decodes with %.0f %%", 100*c.Decodes)
	default:
		if text = "stays short"; now >= 0 {
			text = string(verdict.GradeOf(c.Margin.Middle))
		}
	}
	switch {
	case c.Overloaded():
		text += "; overload"
	case c.MayOverload():
		text += "; overload is possible"
	}
	return text
}

// counted says which wanted channels are gained and lost.
func (a *cureAnswer) counted(o *cure.Outcome) string {
	come, fall := a.moves(o)
	var parts []string
	if len(come) > 0 {
		parts = append(parts, fmt.Sprintf("channels gained: %s (%.1f expected)", strings.Join(come, ", "), o.Gained.Middle))
	}
	if len(fall) > 0 {
		parts = append(parts, fmt.Sprintf("channels lost: %s (%.1f expected)", strings.Join(fall, ", "), o.Lost.Middle))
	}
	if len(parts) == 0 {
		return "No wanted channel comes, and none falls."
	}
	text := strings.Join(parts, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// moves are the wanted channels that a change gains and loses, those that may in
// brackets.
func (a *cureAnswer) moves(o *cure.Outcome) (come, fall []string) {
	for i := range o.Channels {
		c := &o.Channels[i]
		if !a.channels[c.Index].Wanted {
			continue
		}
		name := fmt.Sprint(c.Channel.Number)
		switch c.Move(a.channels[c.Index].Margin.Value) {
		case cure.Comes:
			come = append(come, name)
		case cure.MayCome:
			come = append(come, "perhaps "+name)
		case cure.Falls:
			fall = append(fall, name)
		case cure.MayFall:
			fall = append(fall, "perhaps "+name)
		}
	}
	return come, fall
}

// menu tells of the common changes: a row each, as many channels beside each other as
// there is room for.
func (a *cureAnswer) menu(t *prose) {
	const cell = 12
	name := 0
	for i := range a.outcomes {
		name = max(name, utf8.RuneCountInString(a.outcomes[i].Change.Name))
	}
	if len(a.outcomes) == 0 || len(a.outcomes[0].Channels) == 0 {
		return
	}
	each := max(1, (t.width-name-1)/cell)
	all := len(a.outcomes[0].Channels)
	for from := 0; from < all; from += each {
		to := min(all, from+each)
		t.line("")
		row := fmt.Sprintf("%-*s", name, "dB of margin, 95 %")
		for _, c := range a.outcomes[0].Channels[from:to] {
			row += fmt.Sprintf("%*s", cell, fmt.Sprintf("RF %d", c.Channel.Number))
		}
		t.line("%s", row)
		for i := range a.outcomes {
			row := fmt.Sprintf("%-*s", name, a.outcomes[i].Change.Name)
			for k := range a.outcomes[i].Channels[from:to] {
				c := &a.outcomes[i].Channels[from+k]
				mark := ""
				if c.Overloaded() {
					mark = "!"
				} else if c.MayOverload() {
					mark = "?"
				}
				row += fmt.Sprintf("%*s", cell, short(c.Change)+mark)
			}
			t.line("%s", row)
		}
	}
	t.line("")
	for i := range a.outcomes {
		o := &a.outcomes[i]
		if come, fall := a.moves(o); len(come)+len(fall) > 0 {
			t.para(fmt.Sprintf("%-*s  ", name, o.Change.Name), strings.ToLower(a.counted(o)))
		}
	}
	if marked(a.outcomes) {
		t.para("", "! overload, ? overload is possible: what strong stations make of themselves reaches the noise")
	}
}

func marked(list []cure.Outcome) bool {
	for i := range list {
		for k := range list[i].Channels {
			if c := &list[i].Channels[k]; c.Overloaded() || c.MayOverload() {
				return true
			}
		}
	}
	return false
}

// compare says by how much the prediction was off.
func (a *cureAnswer) compare(t *prose) {
	if a.check == nil {
		return
	}
	t.line("")
	if len(a.check.Channels) == 0 {
		t.para("", "No channel was measured with a margin before and after: the prediction cannot be checked.")
		return
	}
	t.line(" RF  foretold, 95 %%     measured            off by")
	for i := range a.check.Channels {
		c := &a.check.Channels[i]
		fits := ""
		if !c.Fits {
			fits = "outside the interval"
		}
		t.line("%s", strings.TrimRight(fmt.Sprintf("%3d  %-18s %+.1f ± %.1f dB  %8s dB  %s", c.Channel.Number, spanned(c.Foreseen), c.Measured.Value, 2*c.Measured.Sigma, tidy(c.OffDB), fits), " "))
	}
	t.para("", fmt.Sprintf("The prediction was off by %.1f dB in the middle, and within its interval for %d of %d channels.", a.check.OffDB, a.check.Inside, len(a.check.Channels)))
	if a.check.Inside < len(a.check.Channels) {
		t.para("", "Where it was outside, something else changed too, or a part is not what it is said to be: a connector, a supply that is off, water in the cable.")
	}
}

// conclude says what is to be concluded about each channel that is short or held by
// something.
func (a *cureAnswer) conclude(t *prose) {
	first := true
	var silent []int
	for i := range a.counsels {
		k := &a.counsels[i]
		c := &a.channels[k.Index]
		if c.Presence == measure.Vacant && a.listed && c.Wanted {
			silent = append(silent, c.Channel.Number)
		}
		firm := c.Margin != nil && c.Margin.Value >= verdict.FirmMarginDB
		if firm && len(k.Limits) == 0 && k.Amplifier != cure.AmplifierHarms || !c.Wanted || c.Presence == measure.Vacant {
			continue
		}
		if c.Margin == nil && !a.listed && c.Standard != measure.ATSC3 {
			continue
		}
		var said []string
		if better, ok := a.elsewhere[k.Channel.Number]; ok {
			said = append(said, fmt.Sprintf("at %s it has %+.1f dB: aim or move before anything is bought", better.place, better.margin.Value))
		}
		for _, text := range append([]string{k.First, k.Why}, k.Limits...) {
			if text != "" {
				said = append(said, text)
			}
		}
		if len(said) == 0 {
			continue
		}
		if first {
			t.line("")
			first = false
		}
		text := strings.Join(said, "; ")
		t.para(fmt.Sprintf("%3d  ", k.Channel.Number), strings.ToUpper(text[:1])+text[1:]+".")
	}
	if len(silent) > 0 {
		t.line("")
		t.para("", "Nothing was heard of "+rfNumbers(silent)+": that is some 30 dB or more below what decodes, and no amplifier makes up for it. Another place, a higher one, or nothing.")
	}
}

// notes say what the figures rest on, and what to mind.
func (a *cureAnswer) notes(t *prose) {
	t.line("")
	text := "Margins are as this radio reads them; a set's own noise figure may be some dB better or worse."
	if ranges := a.commonPractice(); ranges {
		text += " Figures of kit that were not typed are ranges of common practice, and height is a rule of thumb."
	}
	told := false
	for i := range a.origins {
		told = told || a.origins[i].Told != ""
	}
	if !told && len(a.origins) > 0 {
		text += " How much noise the antenna brings was not measured but taken from what is common for such places (ITU-R P.372): a mark at the antenna (--head), or one with a resistor in its place (--bare, --terminator), makes it sure."
	}
	t.para("", text)
	if a.upwards() {
		t.line("")
		t.para("", cureCaution())
	}
}

func (a *cureAnswer) commonPractice() bool {
	if !a.asked {
		return true
	}
	for i := range a.parts {
		if !a.parts[i].Given {
			return true
		}
	}
	for i := range a.line {
		if !a.line[i].Given {
			return true
		}
	}
	return false
}

// upwards reports whether what is told leads onto a roof.
func (a *cureAnswer) upwards() bool {
	for i := range a.outcomes {
		for _, p := range append(append([]cure.Part(nil), a.outcomes[i].Change.Head...), a.outcomes[i].Change.Tail...) {
			switch p.Kind {
			case cure.Antenna, cure.Height, cure.Amplifier, cure.Wire:
				return true
			}
		}
	}
	return false
}
