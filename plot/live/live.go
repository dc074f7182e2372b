// Package live draws the live meter for a terminal: the number, its distance
// from the best so far, and where it was in the last half minute.
//
// It only draws: what it is given is text of lines, without any control codes.
package live

import (
	"fmt"
	"math"
	"strings"
	"time"

	"rooftone/plot/cell"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/verdict"
)

// Span is how far back the trace reaches.
const Span = 30 * time.Second

// Point is a reading on the trace; NaN is none.
type Point struct {
	Time     time.Time
	FigureDB float64 // what is followed: the margin, as a rule
}

// Channel is what one channel shows.
type Channel struct {
	Label string
	Now   meter.Update
	Trace []Point // ascending; what is older than Span is passed over
	Stale bool    // Now is not new any more
}

// Picture is all that a frame shows.
type Picture struct {
	Source   string
	Channels []Channel
	Focus    int
	Muted    bool
	Marks    int
	Marking  string   // the place that is being measured carefully; "" is none
	Help     bool     // the keys instead of the trace
	Rotor    bool     // keys turn and carry the antenna
	Code     []string // the phone page's code and address instead of everything
	Prompt   string   // what is being asked and typed; "" is nothing
	Message  string   // the last thing worth saying
}

// Size is the room on the screen.
type Size struct {
	Width, Height int
	UTF8          bool
}

// Frame draws the picture in lines that fit the size.
func Frame(p Picture, s Size) []string {
	if s.Width < 1 || s.Height < 1 || len(p.Channels) == 0 {
		return nil
	}
	f := &frame{Picture: p, Size: s}
	if len(p.Code) > 0 {
		// The address is at the end: it stays where the code has no room.
		f.lines = p.Code
		if len(p.Code) > s.Height {
			f.lines = append([]string{" the window is too small for the code"}, p.Code[max(0, len(p.Code)-2):]...)
		}
	} else {
		f.draw()
	}
	f.lines = append([]string(nil), f.lines...) // Code is the caller's
	for i := range f.lines {
		f.lines[i] = f.fit(f.lines[i])
	}
	return f.lines[:min(len(f.lines), s.Height)]
}

// fit cuts a line to a width.
func (f *frame) fit(line string) string {
	return cell.Fit(strings.TrimRight(line, " "), f.Width, f.dots())
}

func (f *frame) dots() string {
	if f.UTF8 {
		return "…"
	}
	return "..."
}

type frame struct {
	Picture
	Size
	lines []string
}

func (f *frame) add(format string, args ...any) {
	f.lines = append(f.lines, fmt.Sprintf(format, args...))
}

// draw lays the screen out: the channel, its figure, where that stands, and what
// there is room for: the trace, or the keys, and the other channels.
func (f *frame) draw() {
	c := f.Channels[f.Focus]
	f.head(c)
	others := len(f.Channels) - 1
	var help []string
	const (
		around = 6 // lines: the head, the foot, where it stands, and a gap after each but the foot
		gaps   = 2 // around the figures' line of text
	)
	if f.Help {
		help = keys(f.Width-2, f.UTF8, f.Rotor)
		others = 0 // the keys were asked for: the others have what is left
	}
	size := f.scale(around + others + len(help))
	tight := f.Height < around+1+others+len(help)
	gap := func() {
		if !tight {
			f.add("")
		}
	}
	if size > 0 {
		f.add("")
		f.number(c, size)
	} else {
		f.add(" %s %s", figure(c), unit(c))
		gap()
	}
	f.add("%s", f.ends(" "+f.standing(c), f.best(c)+" "))
	gap()
	room := f.Height - 1 - len(f.lines) - others
	switch {
	case f.Help:
		for _, l := range help {
			f.add(" %s", l)
		}
		gap()
	case room >= 3:
		f.trace(c, min(room-1, f.Height/2))
		f.add("")
	}
	for i, o := range f.Channels {
		if i != f.Focus && len(f.lines) < f.Height-1 {
			f.add("%s", f.other(i, o))
		}
	}
	for len(f.lines) < f.Height-1 {
		f.add("")
	}
	f.lines = f.lines[:min(len(f.lines), f.Height-1)]
	f.add("%s", f.foot())
}

// head names the channel and, where there is room, the source.
func (f *frame) head(c Channel) {
	head := " " + name(c)
	if part := verdict.Basis(c.Now.SeenShare()); part != "" {
		head += ", " + part
	}
	f.add("%s", f.ends(head, f.Source+" "))
}

// ends puts one text at each end of a line.
func (f *frame) ends(left, right string) string {
	gap := f.Width - cell.Width(left) - cell.Width(right)
	if gap < 2 {
		return left
	}
	return left + strings.Repeat(" ", gap) + right
}

func name(c Channel) string {
	s := fmt.Sprintf("Channel %d", c.Now.Channel.Number)
	if c.Label != "" {
		s += ", " + c.Label
	}
	return s
}

// figure is what is followed as it is written large; none is a dash.
func figure(c Channel) string {
	if c.Stale || c.Now.Figure() == nil {
		return "-"
	}
	return written(c, c.Now.Figure().Value)
}

// written writes a figure of a channel's gauge: a C/N has no sign to spare.
func written(c Channel, v float64) string {
	if c.Now.Gauge == meter.ByCN {
		return strings.TrimPrefix(signed(v), "+")
	}
	return signed(v)
}

// unit is what the figure is of.
func unit(c Channel) string {
	switch c.Now.Gauge {
	case meter.ByCN:
		return "dB C/N"
	case meter.ByLevel:
		return "dBFS"
	}
	return "dB margin"
}

func signed(v float64) string {
	v = math.Round(v*10) / 10
	if v == 0 {
		v = 0 // not −0.0
	}
	return fmt.Sprintf("%+.1f", v)
}

// standing says in words what the number means.
func (f *frame) standing(c Channel) string {
	u := c.Now
	switch {
	case c.Stale:
		return "STOPPED: the radio sends nothing"
	case u.State == meter.Learning && f.Marking != "":
		return fmt.Sprintf("LISTENING, HOLD STILL: %.0f %%", 100*u.Progress)
	case u.State == meter.Learning:
		return "listening carefully, a moment"
	case u.State == meter.Uncovered:
		return "the recording holds nothing usable of it"
	case u.Occupied:
		return occupied
	case u.State == meter.Nothing && u.AtMostDB != nil:
		return fmt.Sprintf("nothing heard, %sbelow %s dB", ofCN(c), written(c, *u.AtMostDB))
	case u.Figure() == nil:
		return "nothing heard"
	case u.Overload:
		return "TOO STRONG: the radio is overloaded"
	case u.Lost:
		return "samples were lost: the computer is too slow"
	}
	s := "cannot decode yet"
	switch {
	case u.Foreign():
		s = alien(u)
	case u.Margin.Value < 0:
	case !u.Trained:
		s = unsought
	default:
		s = "decodes, " + string(u.Grade())
	}
	if u.Trend == meter.Rising || u.Trend == meter.Falling {
		s += ", " + string(u.Trend)
	}
	return s
}

// nearBestDB is what counts as being at the best.
const nearBestDB = 0.15

func (f *frame) best(c Channel) string {
	u := c.Now
	switch {
	case u.BestDB == nil:
		return ""
	case u.Figure() == nil || c.Stale:
		return "best " + written(c, *u.BestDB)
	case u.BelowBestDB < nearBestDB:
		return "at the best, " + written(c, *u.BestDB)
	}
	return fmt.Sprintf("%.1f below the best, %s", u.BelowBestDB, written(c, *u.BestDB))
}

// ofCN says which figure is meant where it is not the margin.
func ofCN(c Channel) string {
	if c.Now.Gauge == meter.ByCN {
		return "C/N "
	}
	return ""
}

// alien says of what is no 8-VSB what it is, and by what it is followed.
func alien(u meter.Update) string {
	s := foreign
	if u.Standard == measure.ATSC3 {
		s = "ATSC 3.0"
	}
	switch u.Gauge {
	case meter.ByCN:
		s += ", by its C/N"
	case meter.ByLevel:
		s += ", by its level"
	}
	return s
}

// foreign is said of what is strong enough and yet no picture for a set.
const foreign = "a signal, but no 8-VSB in it"

// occupied is said of what fills a channel and is no station.
const occupied = "no television station is on it"

// unsought is said where it is not known to be a station, for too little of it is
// heard.
const unsought = "decodes, if it is a station"

// other is the one line of a channel that is not in focus.
func (f *frame) other(i int, c Channel) string {
	const column = 48 // of the label, where there is room for it
	u := c.Now
	s := fmt.Sprintf(" %d  RF %-3d %6s dB   %s", i+1, u.Channel.Number, figure(c), standingOfOther(c))
	switch {
	case c.Label == "":
		return s
	case f.Width >= column+24:
		s = cell.Pad(s, column)
	}
	return s + "  " + c.Label
}

// standingOfOther is what is said of a channel that is not in focus.
func standingOfOther(c Channel) string {
	u := c.Now
	switch {
	case c.Stale:
		return "stopped"
	case u.Overload:
		return "too strong"
	case u.State == meter.Learning:
		return "listening carefully"
	case u.State == meter.Uncovered:
		return "not in the recording"
	case u.Occupied:
		return occupied
	case u.Figure() == nil:
		return "nothing heard"
	}
	s := "at the best"
	if u.BelowBestDB >= nearBestDB {
		s = fmt.Sprintf("%.1f below best", u.BelowBestDB)
	}
	switch {
	case u.Standard == measure.ATSC3:
		s = ofCN(c) + "ATSC 3.0, " + s
	case u.Foreign():
		s = ofCN(c) + foreign
	default:
		s = fmt.Sprintf("%-15s", s)
	}
	if u.Trend == meter.Rising || u.Trend == meter.Falling {
		s += "  " + string(u.Trend)
	}
	return strings.TrimRight(s, " ")
}

func (f *frame) foot() string {
	if f.Prompt != "" {
		return " " + f.ending(f.Prompt+"_") // what is being typed is at its end
	}
	left := f.Message
	if left == "" && f.Marking != "" {
		left = "measuring " + f.Marking + "; Esc breaks it off"
	}
	if left == "" && f.Marks > 0 {
		left = fmt.Sprintf("%d marked", f.Marks)
	}
	right := "? keys "
	if f.Muted {
		right = "muted  " + right
	}
	return f.ends(" "+left, right)
}

// ending is the end of a text that has room on a line.
func (f *frame) ending(text string) string {
	room := f.Width - 1
	if cell.Width(text) <= room {
		return text
	}
	return f.dots() + cell.Tail(text, max(1, room-cell.Width(f.dots())))
}

// keys says what each key does, in lines of a width.
func keys(width int, utf, rotor bool) []string {
	arrows := "n p <- ->"
	if utf {
		arrows = "n p ← →"
	}
	list := [][2]string{
		{"m", "mark this place, measured carefully where a house file is named: NAME @ HEADING, HEIGHT m, or @ HEADING: the last again"},
		{"space", "the same with the reading of this moment: a quick mark"},
		{"r", "forget the best so far"},
		{arrows, "next or previous channel; 1 to 8 picks one"},
		{"s", "bell on or off: it rings at the decode point and at the best"},
		{"c", "the phone page's code"},
		{"q", "quit"},
	}
	if rotor {
		list = append(list,
			[2]string{"[ ]", "turn the simulated antenna 5 degrees left or right"},
			[2]string{"{ }", "carry it half a foot west or east"})
	}
	const column = 11
	var out []string
	for _, k := range list {
		left := k[0]
		for _, l := range cell.Wrap(k[1], max(12, width-column)) {
			out = append(out, cell.Pad(left, column)+l)
			left = ""
		}
	}
	return out
}
