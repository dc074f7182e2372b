package plot

import (
	"fmt"
	"math"
	"strings"

	"rooftone/scan"
	"rooftone/scan/band"
)

// flatLowHz and flatHighHz are the ends of the flat part of an 8-VSB channel,
// between the skirts of 620 kHz that lie evenly around the pilot's place and
// its mirror image: A/53 Part 2, 5.4.
const (
	flatLowHz  = 2 * band.PilotOffsetHz
	flatHighHz = band.WidthHz - flatLowHz
)

// hill draws a response across one channel as the outline of a hill.
type hill struct {
	*pen
	scale *scale
	box
	lowDB, highDB float64
	large         bool
}

func (k *hill) x(hz float64) float64 { return k.x0 + (k.x1-k.x0)*hz/band.WidthHz }

func (k *hill) y(db float64) float64 {
	t := (db - k.lowDB) / (k.highDB - k.lowDB)
	return k.y0 + (k.y1-k.y0)*math.Max(0, math.Min(1, t))
}

func (k *hill) draw(c scan.Channel) {
	for db := k.lowDB; db <= k.highDB; db += k.step() {
		k.line(faint, 0.4, []float64{0.6, 2.4}, point{k.x0, k.y(db)}, point{k.x1, k.y(db)})
	}
	k.line(faint, 0.8, nil, point{k.x0, k.y(0)}, point{k.x1, k.y(0)})
	for _, x := range []float64{k.x0, k.x1} {
		k.line(faint, 0.6, nil, point{x, k.y0}, point{x, k.y1})
	}
	defer k.line(black, 1, nil, point{k.x0, k.y0}, point{k.x1, k.y0})
	if s := noResponse(c); s != "" {
		l := letters{size: 7, ink: soft}
		if k.large {
			l.size = 9
		}
		k.text(l, (k.x0+k.x1)/2, (k.y0+k.y1)/2-3, 0.5, k.fit(l, s, k.x1-k.x0-4))
		return
	}
	points := sweep(c)
	for _, run := range runs(points) {
		k.trace(run)
	}
	for _, s := range unseenSpans(c) {
		k.fence(box{k.x(s.LowHz-c.Channel.LowerHz) + 1, k.y0 + 2, k.x(s.HighHz-c.Channel.LowerHz) - 1, k.y1 - 2})
	}
	k.tilt(c, points)
	k.ripple(c)
	k.pilot(c)
	k.slices(c)
}

// step is what lies between the guide lines, dB.
func (k *hill) step() float64 {
	step := 5.0
	for (k.highDB-k.lowDB)/step*9 > k.y1-k.y0 {
		step += 5
	}
	return step
}

// trace draws an unbroken piece.
func (k *hill) trace(run []sweepPoint) {
	var ground, edge, line []point
	for _, pt := range run {
		x := k.x(pt.hz)
		line = append(line, point{x, k.y(pt.db.v)})
		edge = append(edge, point{x, k.y(pt.db.v + pt.db.half)})
	}
	for i := len(run) - 1; i >= 0; i-- {
		edge = append(edge, point{line[i].x, k.y(run[i].db.v - run[i].db.half)})
	}
	ground = append(append(ground, point{line[0].x, k.y0}), line...)
	ground = append(ground, point{line[len(line)-1].x, k.y0})
	if len(run) == 1 {
		x := line[0].x
		k.line(k.scale.tone(-4), 1.5, nil, point{x, edge[0].y}, point{x, edge[1].y})
		k.line(black, 0.9, nil, point{x - 1.5, line[0].y}, point{x + 1.5, line[0].y})
		return
	}
	k.fill(earth, ground...)
	k.fill(k.scale.tone(-8), edge...)
	k.line(black, 0.9, nil, line...)
}

// tilt draws the slope through the middle of the flat part's points.
func (k *hill) tilt(c scan.Channel, points []sweepPoint) {
	v, ok := known(c.Tilt)
	if !ok {
		return
	}
	slope := v.v / (flatHighHz - flatLowHz)
	sum, n := 0.0, 0
	for _, pt := range points {
		if pt.hz >= flatLowHz && pt.hz <= flatHighHz {
			sum += pt.db.v - slope*(pt.hz-band.WidthHz/2)
			n++
		}
	}
	if n == 0 {
		return
	}
	middle := sum / float64(n)
	at := func(hz float64) point {
		hz = math.Max(flatLowHz, math.Min(flatHighHz, hz-c.Channel.LowerHz))
		return point{k.x(hz), k.y(middle + slope*(hz-band.WidthHz/2))}
	}
	for _, s := range seenSpans(c) {
		k.line(k.scale.tone(24), 1.1, []float64{4, 2}, at(s.LowHz), at(s.HighHz))
	}
}

// ripple draws how high it is, beside the end of the channel.
func (k *hill) ripple(c scan.Channel) {
	v, ok := known(c.Ripple)
	if !ok || v.v <= 0 {
		return
	}
	half := math.Min(v.v, k.highDB-k.lowDB) / 2
	mid := math.Max(k.lowDB+half, math.Min(k.highDB-half, 0))
	x, top, bottom := k.x1+4, k.y(mid+half), k.y(mid-half)
	k.line(black, 0.9, nil, point{x - 2, top}, point{x + 2, top})
	k.line(black, 0.9, nil, point{x - 2, bottom}, point{x + 2, bottom})
	k.line(black, 0.6, nil, point{x, top}, point{x, bottom})
}

// pilot marks where the pilot belongs, filled where it was found.
func (k *hill) pilot(c scan.Channel) {
	x := k.x(band.PilotOffsetHz)
	k.line(faint, 0.5, []float64{0.6, 1.8}, point{x, k.y0}, point{x, k.y1 - 1})
	tip := []point{{x, k.y1 - 1}, {x - 2.4, k.y1 + 4}, {x + 2.4, k.y1 + 4}}
	if c.Pilot != nil && conditionOf(c) != foreign {
		k.fill(black, tip...)
	}
	k.outline(black, 0.6, nil, tip...)
}

// slices writes the modulation error ratio of each slice under its place.
func (k *hill) slices(c scan.Channel) {
	l := letters{size: 6.5, ink: soft}
	if k.large {
		l.size = 7.5
	}
	if k.y1-k.y0 < 60 {
		return
	}
	l.halo = true
	end := k.x0 - 2
	for _, s := range c.SliceMER {
		v, ok := known(&s.MER)
		if !ok || !(s.CenterHz >= 0 && s.CenterHz <= band.WidthHz) {
			continue
		}
		text := onPaper().number(v.v, 0) + " dB"
		if k.large {
			text = "MER " + onPaper().figure(v, 1) + " dB"
		}
		half := k.width(l, text) / 2
		x := math.Max(k.x0+half, math.Min(k.x1-half, k.x(s.CenterHz)))
		if x-half < end+3 {
			continue
		}
		k.text(l, x, k.y0+2.5, 0.5, text)
		end = x + half
	}
}

// name writes which channel it is, and its tilt and ripple.
func (k *hill) name(c scan.Channel) {
	l := letters{size: 9, bold: true, ink: black}
	small := letters{size: 6.5, ink: soft}
	if k.large {
		l.size, small.size = 11, 8
	}
	number := fmt.Sprint(c.Channel.Number)
	x := k.x(band.PilotOffsetHz) + 6
	number = k.fit(l, number, k.x1-x)
	k.text(l, x, k.y1+4, 0, number)
	x += k.width(l, number) + 5
	if noResponse(c) != "" {
		k.text(small, x, k.y1+4, 0, k.fit(small, word(c), k.x1-x))
		return
	}
	text := responseInWords(c)
	if !k.large && k.width(small, text) > k.x1+6-x {
		// Without the intervals, which the band shows too.
		w := onPaper()
		var out []string
		if v, ok := known(c.Tilt); ok {
			out = append(out, "tilt "+w.number(v.v, 1))
		}
		if v, ok := known(c.Ripple); ok {
			out = append(out, "ripple "+w.number(v.v, 1))
		}
		text = strings.Join(out, ", ") + " dB"
	}
	k.text(small, x, k.y1+4, 0, k.fit(small, text, k.x1+8-x))
}

// levels writes the height axis.
func (k *hill) levels() {
	l := letters{size: 6.5, ink: soft}
	if k.large {
		l.size = 7.5
	}
	for db := k.lowDB; db <= k.highDB; db += k.step() {
		k.text(l, k.x0-4, k.y(db)-capital/2*l.size, 1, onPaper().number(db, 0))
	}
	k.upright(l, k.x0-26, (k.y0+k.y1)/2, 0.5, "dB")
}

// frequencies marks the megahertz above the channel's lower edge, and writes
// them when asked to.
func (k *hill) frequencies(written bool) {
	l := letters{size: 6.5, ink: soft}
	if k.large {
		l.size = 7.5
	}
	for mhz := 0.0; mhz <= 6; mhz++ {
		x := k.x(mhz * 1e6)
		k.line(soft, 0.5, nil, point{x, k.y0}, point{x, k.y0 - 2.5})
		if !written || !k.large && math.Mod(mhz, 2) == 1 {
			continue
		}
		if mhz == 6 {
			k.text(l, x+3, k.y0-10, 1, "6 MHz")
			continue
		}
		k.text(l, x, k.y0-10, 0.5, fmt.Sprintf("%.0f", mhz))
	}
}
