package plot

import (
	"fmt"
	"io"
	"math"

	"rooftone/scan/watch"
)

// DayCourse draws the margins of a watch against the hour of the day, a lane a
// channel, and writes them as "png", "svg" or "pdf".
func DayCourse(w io.Writer, format string, r *watch.Report, o Options) error {
	if r == nil {
		return errNoReport
	}
	if o.Title == "" {
		o.Title = "How it holds through the day"
	}
	a := about{title: o.Title, description: spokenWatch(r), date: r.To}
	return paint(w, format, a, func(p *pen) { drawWatchDay(p, r, o) })
}

func drawWatchDay(p *pen, r *watch.Report, o Options) {
	heading(p, o.Title, watchedLine(r), "How to read it: a lane is a channel, a house stands for an hour of the day, over all days. The ground is the weakest signal "+
		"that decodes, the dashed line 9 dB above it. The roof is the hour's median; the mast above it and the crossbar below show where the margin was in 8 of 10 readings. "+
		"A hatched cellar is as deep as the worst hundredth of the hour; the number is how much of the hour, in percent, could not be decoded.")
	if len(r.Channels) == 0 {
		return
	}
	sc := newScale()
	low, high := watchHeights(r)
	lanes := float64(len(r.Channels))
	tall := math.Min(120, (watchTop-watchBottom-watchGap*(lanes-1))/lanes)
	top := watchTop
	wide := (watchRight - watchLeft) / 24
	for i := range r.Channels {
		c := &r.Channels[i]
		s := &watchLane{pen: p, scale: sc, x0: watchLeft, x1: watchRight, y1: top, y0: top - tall, lowDB: low, highDB: high}
		s.lay()
		for h, t := range c.ByHour() {
			if t.Readings > 0 {
				s.hour(&t, watchLeft+wide*float64(h), wide)
			}
		}
		s.line(black, 1.1, nil, point{s.x0, s.y(0)}, point{s.x1, s.y(0)})
		switch d := c.Day; {
		case d == nil:
			s.name(c, "too few days", "for a pattern")
		case d.Certain():
			s.name(c, fmt.Sprintf("worst at %02d:30,", d.Worst), fmt.Sprintf("best at %02d:30,", d.Best), fmt.Sprintf("%.1f dB apart", d.Swing))
		default:
			s.name(c, "no pattern that", fmt.Sprintf("%d days can show", d.Days))
		}
		top -= tall + watchGap
	}
	bottom := top + watchGap
	l := letters{size: 8, ink: black}
	for h := 0; h <= 24; h += 3 {
		at := watchLeft + wide*float64(h)
		p.line(soft, 0.7, nil, point{at, bottom - 2}, point{at, bottom - 5})
		p.text(l, at, bottom-14, 0.5, fmt.Sprintf("%02d:00", h%24))
	}
	watchRemark(p, r, watch.DayWise)
}

// hour draws one hour's house.
func (s *watchLane) hour(t *watch.Tally, x, wide float64) {
	x0, x1 := x+0.14*wide, x+0.86*wide
	mid := (x0 + x1) / 2
	low, median, high := bottomless(t.Quantile(0.1)), bottomless(t.Quantile(0.5)), bottomless(t.Quantile(0.9))
	walls := rectangle(box{x0, math.Min(s.y(0), s.y(median)), x1, math.Max(s.y(0), s.y(median))})
	s.fill(s.scale.tone(median), walls...)
	below := t.Below(0)
	if worst := bottomless(t.Quantile(0.01)); worst < 0 {
		cellar := rectangle(box{x0, s.y(worst), x1, s.y(math.Min(0, median))})
		s.fill(s.scale.tone(worst), cellar...)
		s.hatch(black, 0.5, 2.4, falling, cellar...)
		s.outline(black, 0.8, nil, cellar...)
	}
	s.outline(black, 0.8, nil, walls...)
	s.line(black, 1.1, nil, point{mid, s.y(median)}, point{mid, s.y(high)})
	y := s.y(low)
	s.line(paper, 2.6, nil, point{mid, s.y(median)}, point{mid, y})
	s.line(paper, 2.8, nil, point{mid - 0.24*wide, y}, point{mid + 0.24*wide, y})
	s.line(black, 1.1, nil, point{mid, s.y(median)}, point{mid, y})
	s.line(black, 1.3, nil, point{mid - 0.24*wide, y}, point{mid + 0.24*wide, y})
	if below >= 0.001 {
		text := fmt.Sprintf("%.1f", 100*below)
		if below >= 0.0995 {
			text = fmt.Sprintf("%.0f", 100*below)
		}
		s.text(letters{size: 6.5, bold: true, ink: black, halo: true}, mid, s.y0+1.5, 0.5, text)
	}
}
