package plot

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"rooftone/scan/watch"
)

var errNoReport = errors.New("there is no report to draw")

// WatchRows writes what a watch's log says as text: what holds and what does not,
// the fades, and in words what is behind them.
func WatchRows(w io.Writer, r *watch.Report, o TextOptions) error {
	if r == nil {
		return errNoReport
	}
	if o.Width == 0 {
		o.Width = 80
	}
	o.Width = max(o.Width, 40)
	t := newTable(o)
	t.note("", watchedLine(r))
	if len(r.Channels) == 0 {
		t.line("there are no readings in it yet")
		_, err := io.WriteString(w, t.b.String())
		return err
	}
	if t.line(""); o.Width >= 80 {
		t.watched(r)
	} else {
		for i := range r.Channels {
			t.note("", watchedInWords(&r.Channels[i]))
		}
	}
	t.line("")
	for _, f := range r.Findings {
		t.note("", f.Text)
		if f.Next != "" {
			t.note("  -> ", f.Next)
		}
	}
	if text := unsaid(r); text != "" {
		t.note("", text)
	}
	_, err := io.WriteString(w, t.b.String())
	return err
}

// watched writes the two tables of a wide terminal.
func (t *table) watched(r *watch.Report) {
	t.line(" RF  margin in dB   margin 0 dB and more     dB of fade margin that cover")
	t.line("       now usual    of the time (95 %)       99 % of the time  99.9 %")
	for i := range r.Channels {
		c := &r.Channels[i]
		if what := noMargin(c); what != "" {
			t.line(fmt.Sprintf("%3d  %s", c.RFChannel, what))
			continue
		}
		t.line(fmt.Sprintf("%3d  %5s %5s    %-24s %-17s %s", c.RFChannel, usualMargin(c.NowDB), usualMargin(c.MedianDB),
			availability(c), needed(&c.Needs[1]), needed(&c.Needs[2])))
	}
	t.line("")
	t.line(" RF  fades          lasting              deep            with others")
	t.line("     a day in all   median  longest      median deepest")
	for i := range r.Channels {
		c := &r.Channels[i]
		f := &c.Fades
		if f.Count == 0 {
			t.line(fmt.Sprintf("%3d  none", c.RFChannel))
			continue
		}
		t.line(fmt.Sprintf("%3d  %5s %6d   %-7s %-11s  %-6s %-8s  %d of %d", c.RFChannel, perDay(f.PerDay), f.Count,
			howLong(f.MedianSec), howLong(f.LongSec), decibelsDeep(f.MedianDB), decibelsDeep(f.DeepDB), f.Joint, f.Told))
	}
}

// noMargin says of a channel whose signal is no 8-VSB that it has none; "" of all
// others.
func noMargin(c *watch.ChannelReport) string {
	switch {
	case c.ATSC3+c.Other <= 0.5:
		return ""
	case c.ATSC3 > c.Other:
		return "ATSC 3.0: no margin for 8-VSB, no picture for a set without ATSC 3.0"
	}
	return "another standard: no margin for 8-VSB, no picture"
}

// watchedInWords is a channel's row for a narrow terminal.
func watchedInWords(c *watch.ChannelReport) string {
	if what := noMargin(c); what != "" {
		return fmt.Sprintf("channel %d: %s", c.RFChannel, what)
	}
	f := &c.Fades
	s := fmt.Sprintf("channel %d: margin now %s dB, usual %s; 0 dB and more %s of the time; 99 %% of it needs %s dB of fade margin, 99.9 %% %s; ",
		c.RFChannel, usualMargin(c.NowDB), usualMargin(c.MedianDB), availability(c), needed(&c.Needs[1]), needed(&c.Needs[2]))
	if f.Count == 0 {
		return s + "no fades"
	}
	return s + fmt.Sprintf("%d fades, %s a day, lasting %s (longest %s), %s deep (deepest %s), %d of %d with others",
		f.Count, perDay(f.PerDay), howLong(f.MedianSec), howLong(f.LongSec), decibelsDeep(f.MedianDB), decibelsDeep(f.DeepDB), f.Joint, f.Told)
}

// watchedLine says what was watched.
func watchedLine(r *watch.Report) string {
	if r.From.IsZero() {
		return "a log of a watch"
	}
	layout := "2006-01-02 15:04"
	line := fmt.Sprintf("%s to %s, a reading every %s", r.From.Format(layout), r.To.Format(layout), interval(r.EverySec))
	var most time.Duration
	for i := range r.Channels {
		most = max(most, r.Channels[i].Watched)
	}
	return line + ", " + longTime(most) + " in all"
}

// unsaid says what cannot be told yet.
func unsaid(r *watch.Report) string {
	var watchFor time.Duration
	for i := range r.Channels {
		for _, n := range r.Channels[i].Needs[1:2] {
			watchFor = max(watchFor, n.WatchFor)
		}
	}
	var out []string
	if watchFor > 0 {
		out = append(out, "99 % cannot be told of every channel yet: that takes about "+longTime(watchFor)+" of watching")
	}
	for i := range r.Channels {
		if r.Channels[i].Day == nil {
			out = append(out, "a pattern over the day takes three days to tell, a slow drift a week")
			break
		}
		if r.Channels[i].Drift == nil {
			out = append(out, "a slow drift takes a week to tell")
			break
		}
	}
	return strings.Join(out, "; ")
}

// availability is the share of the time with a margin of 0 dB and more, and what
// it may be.
func availability(c *watch.ChannelReport) string {
	a := c.Available
	s := watch.Percent(a.Value)
	if !math.IsNaN(a.Low) && !math.IsNaN(a.High) {
		if a.Low <= 0 && a.High >= 1 { // as good as nothing is known
			return s + " so far, too short"
		}
		s += fmt.Sprintf(" (%s-%s)", strings.TrimSuffix(watch.Percent(a.Low), " %"), strings.TrimSuffix(watch.Percent(a.High), " %"))
	}
	return s
}

// needed is a fade margin with its bounds, or what is known of it.
func needed(n *watch.Need) string {
	d := n.DepthDB
	switch {
	case math.IsNaN(d.Value):
		return "not told"
	case math.IsInf(d.Value, 0):
		return "beyond measure"
	case math.IsNaN(d.High):
		return "not told yet"
	case math.IsNaN(d.Low):
		return fmt.Sprintf("%.1f (to %.1f)", d.Value, d.High)
	}
	return fmt.Sprintf("%.1f (%.1f-%.1f)", d.Value, d.Low, d.High)
}

func usualMargin(db float64) string {
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return "none"
	}
	return strings.TrimSpace(twoFigures(db, true))
}

func decibelsDeep(db float64) string {
	if math.IsNaN(db) {
		return "-"
	}
	return fmt.Sprintf("%.1f dB", db)
}

func perDay(n float64) string {
	if n >= 9.95 {
		return fmt.Sprintf("%.0f", n)
	}
	return fmt.Sprintf("%.1f", n)
}

// interval writes a time from one reading to the next exactly, such as 1 s, 1.5 s or 5 min.
func interval(s float64) string {
	for _, u := range []struct {
		seconds float64
		name    string
	}{{3600, "h"}, {60, "min"}} {
		if n := s / u.seconds; n >= 1 && n == math.Trunc(n) {
			return fmt.Sprintf("%g %s", n, u.name)
		}
	}
	return fmt.Sprintf("%g s", s)
}

// howLong writes a length of time with two figures.
func howLong(s float64) string {
	switch {
	case math.IsNaN(s):
		return "-"
	case s < 9.95:
		return fmt.Sprintf("%.1f s", s)
	case s < 99.5:
		return fmt.Sprintf("%.0f s", s)
	case s < 99.5*60:
		return fmt.Sprintf("%.0f min", s/60)
	}
	return fmt.Sprintf("%.0f h", s/3600)
}

// longTime writes hours and days.
func longTime(d time.Duration) string {
	switch h := d.Hours(); {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case h < 2:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case h < 48:
		return fmt.Sprintf("%.0f h", h)
	case h < 240:
		return fmt.Sprintf("%.1f days", h/24)
	default:
		return fmt.Sprintf("%.0f days", h/24)
	}
}
