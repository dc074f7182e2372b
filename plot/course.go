package plot

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"rooftone/scan/verdict"
	"rooftone/scan/watch"
)

// Where things stand on the pages of a watch, points.
const (
	watchLeft   = 84.0
	watchRight  = pageWidth - 96
	watchTop    = 424.0
	watchBottom = 64.0
	watchGap    = 7.0 // between lanes
)

// Course draws the margins of a watch against time, a lane a channel, and writes
// them as "png", "svg" or "pdf".
func Course(w io.Writer, format string, r *watch.Report, o Options) error {
	if r == nil {
		return errNoReport
	}
	if o.Title == "" {
		o.Title = "How it held"
	}
	a := about{title: o.Title, description: spokenWatch(r), date: r.To}
	return paint(w, format, a, func(p *pen) { drawWatchCourse(p, r, o) })
}

// spokenWatch is a watch for those who cannot see it.
func spokenWatch(r *watch.Report) string {
	out := []string{watchedLine(r)}
	for i := range r.Channels {
		c := &r.Channels[i]
		out = append(out, fmt.Sprintf("channel %d: usual margin %s dB, %s of the time above the decode point", c.RFChannel, usualMargin(c.MedianDB), watch.Percent(c.Available.Value)))
	}
	for _, f := range r.Findings {
		out = append(out, f.Text)
	}
	return strings.Join(out, "; ") + "."
}

// watchLane is one channel's lane.
type watchLane struct {
	*pen
	scale         *scale
	y0, y1        float64
	lowDB, highDB float64
	x0, x1        float64
}

func (s *watchLane) y(db float64) float64 {
	t := (math.Max(s.lowDB, math.Min(s.highDB, db)) - s.lowDB) / (s.highDB - s.lowDB)
	return s.y0 + t*(s.y1-s.y0)
}

// lay draws the ground, the roof line and the heights.
func (s *watchLane) lay() {
	s.fill(earth, rectangle(box{s.x0, s.y0, s.x1, s.y(0)})...)
	step := 10.0
	if (s.y1-s.y0)/(s.highDB-s.lowDB)*10 < 9 {
		step = 20
	}
	tiny := letters{size: 6.5, ink: soft}
	for db := math.Ceil(s.lowDB/step) * step; db <= s.highDB; db += step {
		s.line(faint, 0.4, nil, point{s.x0, s.y(db)}, point{s.x1, s.y(db)})
		s.text(tiny, s.x0-3, s.y(db)-2.2, 1, wholeDB(db))
	}
	if s.highDB > verdict.FirmMarginDB {
		s.line(soft, 0.6, []float64{4, 2.5}, point{s.x0, s.y(verdict.FirmMarginDB)}, point{s.x1, s.y(verdict.FirmMarginDB)})
	}
}

// name writes the channel on the left and what it comes to on the right.
func (s *watchLane) name(c *watch.ChannelReport, lines ...string) {
	mid := (s.y0 + s.y1) / 2
	s.text(letters{size: 11, bold: true, ink: black}, marginX, mid-2, 0, fmt.Sprintf("RF %d", c.RFChannel))
	small := letters{size: 7, ink: black}
	y := mid + 4.5*float64(len(lines)-1) - 2.5
	for _, l := range lines {
		s.text(small, s.x1+6, y, 0, s.fit(small, l, pageWidth-s.x1-10))
		y -= 9
	}
}

// watchSlot is what the margin was in a short time.
type watchSlot struct {
	low, median, high float64
	n                 int
}

// stand draws a watchSlot as the houses of the map stand: up to its lowest margin
// solid, from there to its highest pale, below ground hatched.
func (s *watchLane) stand(v watchSlot, x0, x1 float64) {
	x1 += 0.4 // over the seam, where two antialiased edges would let the paper through
	ground := s.y(0)
	tone := s.scale.tone(math.Max(v.median, toneLowDB))
	if v.high > 0 {
		s.fill(faint, rectangle(box{x0, math.Max(ground, s.y(v.low)), x1, s.y(v.high)})...)
	}
	if v.low > 0 {
		s.fill(tone, rectangle(box{x0, ground, x1, s.y(v.low)})...)
	}
	if v.low < 0 {
		cellar := rectangle(box{x0, s.y(v.low), x1, math.Min(ground, s.y(v.high))})
		s.fill(s.scale.tone(v.low), cellar...)
		s.fill(black, rectangle(box{x0, s.y(v.low), x1, s.y(v.low) + 1.2})...)
	}
}

func drawWatchCourse(p *pen, r *watch.Report, o Options) {
	heading(p, o.Title, watchedLine(r), "How to read it: a lane is a channel, time runs to the right. The ground is the weakest signal that decodes, "+
		"the dashed line 9 dB above it. Solid up to the lowest margin of each moment, grey from there to the highest, the line is the median; "+
		"a cellar below ground could not be decoded. Blank: not watched. A dotted upright is a sudden change that stayed, a triangle a fade of several channels at once.")
	if len(r.Channels) == 0 {
		return
	}
	from, to := r.From, r.To
	if !to.After(from.Add(time.Second)) {
		to = from.Add(time.Minute)
	}
	const slotWidth = 1.5
	n := int((watchRight - watchLeft) / slotWidth)
	x := func(t time.Time) float64 {
		return watchLeft + (watchRight-watchLeft)*float64(t.Sub(from))/float64(to.Sub(from))
	}
	sc := newScale()
	low, high := watchHeights(r)
	lanes := float64(len(r.Channels))
	tall := math.Min(120, (watchTop-watchBottom-watchGap*(lanes-1))/lanes)
	top := watchTop
	for i := range r.Channels {
		c := &r.Channels[i]
		s := &watchLane{pen: p, scale: sc, x0: watchLeft, x1: watchRight, y1: top, y0: top - tall, lowDB: low, highDB: high}
		s.lay()
		slots := watchSlots(c, from, to, n)
		for k, v := range slots {
			if v.n > 0 {
				s.stand(v, watchLeft+float64(k)*slotWidth, watchLeft+float64(k+1)*slotWidth+0.05)
			}
		}
		s.medians(slots, slotWidth)
		for _, e := range c.Steps {
			s.line(black, 0.9, []float64{1, 1.6}, point{x(e.Time), s.y0}, point{x(e.Time), s.y1})
			s.text(letters{size: 7, bold: true, ink: black, halo: true}, math.Min(x(e.Time)+2, watchRight-36), s.y1-7, 0, withMinus(fmt.Sprintf("%+.1f dB", e.ChangeDB)))
		}
		s.line(black, 1.1, nil, point{s.x0, s.y(0)}, point{s.x1, s.y(0)})
		s.name(c, watch.Percent(c.Available.Value)+" of the time", "usual "+usualMargin(c.MedianDB)+" dB", "now "+usualMargin(c.NowDB)+" dB")
		top -= tall + watchGap
	}
	bottom := top + watchGap
	for _, e := range r.Joint.Events {
		at := x(e.Time)
		p.fill(black, point{at - 2.2, bottom - 6}, point{at + 2.2, bottom - 6}, point{at, bottom - 1.5})
	}
	watchAxis(p, from, to, x, bottom-8)
	watchRemark(p, r, watch.Changed)
}

// medians draws the medians as a line, which breaks where nothing was watched.
func (s *watchLane) medians(slots []watchSlot, wide float64) {
	var run []point
	flush := func() {
		s.line(paper, 1.7, nil, run...)
		s.line(black, 0.8, nil, run...)
		run = run[:0]
	}
	for k, v := range slots {
		if v.n == 0 {
			flush()
			continue
		}
		run = append(run, point{s.x0 + (float64(k)+0.5)*wide, s.y(v.median)})
	}
	flush()
}

// watchHeights is what the lanes' heights stand for, dB, the same for all.
func watchHeights(r *watch.Report) (low, high float64) {
	low, high = -5, 12
	for i := range r.Channels {
		b := &r.Channels[i].Basis
		if q := b.Quantile(0.0005); !math.IsInf(q, 0) && !math.IsNaN(q) {
			low = math.Min(low, q-1)
		}
		if q := b.Quantile(0.999); !math.IsInf(q, 0) && !math.IsNaN(q) {
			high = math.Max(high, q+1)
		}
		for _, h := range r.Channels[i].Hours {
			if q := h.Quantile(0.99); q > high {
				high = q + 1
			}
		}
	}
	return math.Max(low, toneLowDB), math.Min(high, 45)
}

// watchSlots shares a channel's minutes out, and before there are any its hours.
func watchSlots(c *watch.ChannelReport, from, to time.Time, n int) []watchSlot {
	out := make([]watchSlot, n)
	span := to.Sub(from)
	add := func(at time.Time, long time.Duration, low, median, high float64) {
		a := int(float64(n) * float64(at.Sub(from)) / float64(span))
		b := int(float64(n) * float64(at.Add(long).Sub(from)) / float64(span))
		for k := max(0, a); k <= min(n-1, max(a, b-1)); k++ {
			v := &out[k]
			if v.n == 0 {
				*v = watchSlot{low, 0, high, 0}
			}
			v.low, v.high = math.Min(v.low, low), math.Max(v.high, high)
			v.median += (median - v.median) / float64(v.n+1)
			v.n++
		}
	}
	fine := to
	if len(c.Minutes) > 0 {
		fine = c.Minutes[0].Time
	}
	for i := range c.Hours {
		if h := &c.Hours[i]; h.Start.Before(fine) {
			add(h.Start, time.Duration(h.Seconds()*1e9), bottomless(h.Quantile(0.001)), bottomless(h.Quantile(0.5)), bottomless(h.Quantile(0.999)))
		}
	}
	for i, m := range c.Minutes {
		long := time.Minute
		if i+1 < len(c.Minutes) { // readings seldom enough to be minutes themselves
			if gap := c.Minutes[i+1].Time.Sub(m.Time); m.Readings == 1 && gap < 2*time.Hour {
				long = max(long, gap)
			}
		}
		add(m.Time, long, bottomless(m.LowDB), bottomless(m.MedianDB), bottomless(m.HighDB))
	}
	return out
}

// bottomless gives what was not heard at all a depth that can be drawn.
func bottomless(db float64) float64 {
	if math.IsNaN(db) || db < toneLowDB {
		return toneLowDB
	}
	return db
}

// watchAxis writes some dozen times below the lanes.
func watchAxis(p *pen, from, to time.Time, x func(time.Time) float64, y float64) {
	steps := []time.Duration{
		time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
		time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour,
		24 * time.Hour, 2 * 24 * time.Hour, 7 * 24 * time.Hour, 14 * 24 * time.Hour, 28 * 24 * time.Hour, 91 * 24 * time.Hour, 365 * 24 * time.Hour,
	}
	step := steps[len(steps)-1]
	for _, s := range steps {
		if to.Sub(from)/s <= 12 {
			step = s
			break
		}
	}
	l := letters{size: 7.5, ink: black}
	y0, m, d := from.Date()
	at := time.Date(y0, m, d, 0, 0, 0, 0, from.Location())
	last := ""
	for ; !at.After(to); at = at.Add(step) {
		if at.Before(from) {
			continue
		}
		p.line(soft, 0.7, nil, point{x(at), y + 2}, point{x(at), y - 1})
		day := at.Format("Jan 2")
		text := at.Format("15:04")
		if step >= 24*time.Hour {
			text = day
		} else if day != last {
			p.text(letters{size: 7, ink: soft}, x(at), y-18, 0.5, day)
		}
		last = day
		p.text(l, x(at), y-9, 0.5, text)
	}
}

// watchRemark writes what matters most below a watch's picture: what was found of
// the kind that it shows best, then the rest.
func watchRemark(p *pen, r *watch.Report, best watch.FindingKind) {
	loud := letters{size: 8, bold: true, ink: black}
	var lines []string
	for _, first := range []bool{true, false} {
		for _, f := range r.Findings {
			if (f.Kind == best) == first && len(lines) < 2 {
				lines = append(lines, p.fit(loud, f.Text, pageWidth-2*marginX))
			}
		}
	}
	for i, l := range lines {
		p.text(loud, marginX, 27-11*float64(i), 0, l)
	}
}
