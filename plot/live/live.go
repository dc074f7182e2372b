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
	"unicode/utf8"

	"rooftone/scan/meter"
	"rooftone/scan/verdict"
)

// Span is how far back the trace reaches.
const Span = 30 * time.Second

// Point is a reading on the trace; NaN is none.
type Point struct {
	Time     time.Time
	MarginDB float64
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
		f.lines[i] = fit(f.lines[i], s.Width)
	}
	return f.lines[:min(len(f.lines), s.Height)]
}

// fit cuts a line to a width.
func fit(line string, width int) string {
	line = strings.TrimRight(line, " ")
	if utf8.RuneCountInString(line) <= width {
		return line
	}
	return string([]rune(line)[:width])
}

type frame struct {
	Picture
	Size
	lines []string
}

func (f *frame) add(format string, args ...any) {
	f.lines = append(f.lines, fmt.Sprintf(format, args...))
}

func (f *frame) draw() {
	c := f.Channels[f.Focus]
	head := " " + name(c)
	if part := verdict.Basis(c.Now.SeenShare()); part != "" {
		head += ", " + part
	}
	f.add("%s", f.ends(head, f.Source+" "))
	others := len(f.Channels) - 1
	// What is there for the trace when all else has its place.
	digits := f.Height >= 12+others
	room := f.Height - 5 - others
	if digits {
		room -= glyphRows + 1
		f.add("")
		f.number(c)
	} else {
		f.add(" %s dB margin", figure(c))
	}
	f.add("")
	f.add("%s", f.ends(" "+f.standing(c), f.best(c)+" "))
	f.add("")
	switch {
	case f.Help:
		for _, l := range keys(f.UTF8, f.Rotor) {
			f.add(" %s", l)
		}
		f.add("")
	case room >= 3:
		f.trace(c, min(room-1, 8))
		f.add("")
	}
	for i, o := range f.Channels {
		if i != f.Focus && len(f.lines) < f.Height-1 {
			f.add("%s", other(i, o))
		}
	}
	for len(f.lines) < f.Height-1 {
		f.add("")
	}
	f.lines = f.lines[:min(len(f.lines), f.Height-1)]
	f.add("%s", f.foot())
}

// ends puts one text at each end of a line.
func (f *frame) ends(left, right string) string {
	gap := f.Width - utf8.RuneCountInString(left) - utf8.RuneCountInString(right)
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

// figure is the margin as it is written large; none is a dash.
func figure(c Channel) string {
	if c.Stale || c.Now.Margin == nil {
		return "-"
	}
	return signed(c.Now.Margin.Value)
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
		return fmt.Sprintf("nothing heard, below %s dB", signed(*u.AtMostDB))
	case u.Margin == nil:
		return "nothing heard"
	case u.Overload:
		return "TOO STRONG: the radio is overloaded"
	case u.Lost:
		return "samples were lost: the computer is too slow"
	}
	s := "cannot decode yet"
	switch {
	case u.Margin.Value < 0:
	case u.Foreign():
		s = foreign
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
	case u.Margin == nil || c.Stale:
		return "best " + signed(*u.BestDB)
	case u.BelowBestDB < nearBestDB:
		return "at the best, " + signed(*u.BestDB)
	}
	return fmt.Sprintf("%.1f below the best, %s", u.BelowBestDB, signed(*u.BestDB))
}

// foreign is said of what is strong enough and yet no picture for a set.
const foreign = "a signal, but no 8-VSB in it"

// occupied is said of what fills a channel and is no station.
const occupied = "no television station is on it"

// unsought is said where it is not known to be a station, for too little of it is
// heard.
const unsought = "decodes, if it is a station"

// other is the one line of a channel that is not in focus.
func other(i int, c Channel) string {
	u := c.Now
	s := fmt.Sprintf(" %d  RF %-3d %6s dB", i+1, u.Channel.Number, figure(c))
	switch {
	case c.Stale:
		s += "   stopped"
	case u.Overload:
		s += "   too strong"
	case u.State == meter.Learning:
		s += "   listening carefully"
	case u.State == meter.Uncovered:
		s += "   not in the recording"
	case u.Occupied:
		s += "   " + occupied
	case u.Margin == nil:
		s += "   nothing heard"
	default:
		below := "at the best"
		if u.BelowBestDB >= nearBestDB {
			below = fmt.Sprintf("%.1f below best", u.BelowBestDB)
		}
		if u.Foreign() {
			below = foreign
		}
		s += fmt.Sprintf("   %-15s", below)
		if u.Trend == meter.Rising || u.Trend == meter.Falling {
			s += "  " + string(u.Trend)
		}
	}
	if c.Label != "" {
		s = fmt.Sprintf("%-48s  %s", s, c.Label)
	}
	return s
}

func (f *frame) foot() string {
	if f.Prompt != "" {
		return " " + f.Prompt + "_"
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

func keys(utf, rotor bool) []string {
	arrows := "n p, left right"
	if utf {
		arrows = "n p, ← →"
	}
	list := []string{
		"m            mark this place, measured carefully where a house file is",
		"             named: NAME @ HEADING, HEIGHT m, or @ HEADING: the last again",
		"space        the same with the reading of this moment: a quick mark",
		"r            forget the best so far",
		fmt.Sprintf("%-12s next or previous channel; 1 to 8 picks one", arrows),
		"s            bell on or off: it rings at the decode point and at the best",
		"c            the phone page's code",
		"q            quit",
	}
	if rotor {
		list = append(list,
			"[ ]          turn the simulated antenna 5 degrees left or right",
			"{ }          carry it half a foot west or east")
	}
	return list
}
