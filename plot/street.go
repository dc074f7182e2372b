package plot

import (
	"fmt"
	"math"
	"sort"

	"rooftone/scan"
	"rooftone/scan/band"
)

// lots returns the channels of a survey that a frequency axis can hold, in
// ascending order.
func lots(s *scan.Survey) []scan.Channel {
	var out []scan.Channel
	for _, c := range s.Channels {
		if f := c.Channel.LowerHz; f >= 0 && f < 1e11 { // not NaN either
			out = append(out, c)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Channel.LowerHz < out[j].Channel.LowerHz })
	return out
}

// street is a frequency axis in blocks, with what lies between them left out.
type street struct {
	blocks    []block
	pointPerH float64 // points per Hz
}

// block is an unbroken piece of the axis.
type block struct {
	lowHz, highHz float64
	x0, x1        float64
}

const (
	// jumpHz is the widest piece without channels that keeps its true width.
	// The 4 MHz between channels 4 and 5 does, the 86 MHz above 6 does not.
	jumpHz = 12e6
	// breakLots is the width of a piece left out, in lots.
	breakLots = 1.4
)

// layStreet lays the lots, ascending, between x0 and x1 with lots of at most
// the given width, in the middle if there is room to spare.
func layStreet(chs []band.Channel, x0, x1, widest float64) street {
	var s street
	for _, c := range chs {
		if n := len(s.blocks); n > 0 && c.LowerHz-s.blocks[n-1].highHz <= jumpHz {
			s.blocks[n-1].highHz = math.Max(s.blocks[n-1].highHz, c.UpperHz())
			continue
		}
		s.blocks = append(s.blocks, block{lowHz: c.LowerHz, highHz: c.UpperHz()})
	}
	if len(s.blocks) == 0 {
		return s
	}
	long := s.long()
	lot := math.Min(widest, (x1-x0)/long)
	s.pointPerH = lot / band.WidthHz
	x := (x0 + x1 - lot*long) / 2
	for i := range s.blocks {
		b := &s.blocks[i]
		b.x0 = x
		b.x1 = x + (b.highHz-b.lowHz)*s.pointPerH
		x = b.x1 + breakLots*lot
	}
	return s
}

// from is the same street, beginning at x0.
func (s street) from(x0 float64) street {
	if len(s.blocks) == 0 {
		return s
	}
	d := x0 - s.blocks[0].x0
	blocks := append([]block(nil), s.blocks...)
	for i := range blocks {
		blocks[i].x0 += d
		blocks[i].x1 += d
	}
	s.blocks = blocks
	return s
}

// long is the street's length in lots.
func (s street) long() float64 {
	n := breakLots * float64(len(s.blocks)-1)
	for _, b := range s.blocks {
		n += (b.highHz - b.lowHz) / band.WidthHz
	}
	return n
}

func (s street) lot() float64 { return band.WidthHz * s.pointPerH }

// x is a frequency's place on the page; not ok where the street is broken.
func (s street) x(hz float64) (float64, bool) {
	for _, b := range s.blocks {
		if hz >= b.lowHz && hz <= b.highHz {
			return b.x0 + (hz-b.lowHz)*s.pointPerH, true
		}
	}
	return 0, false
}

// span is a channel's piece of the street.
func (s street) span(c band.Channel) (x0, x1 float64) {
	x0, _ = s.x(c.LowerHz)
	return x0, x0 + s.lot()
}

// within is where a part of a channel lies whose lot is from x0 to x1.
func within(x0, x1 float64, c scan.Channel, s band.Span) (from, to float64) {
	perHz := (x1 - x0) / band.WidthHz
	return x0 + perHz*(s.LowHz-c.Channel.LowerHz), x0 + perHz*(s.HighHz-c.Channel.LowerHz)
}

// drawTicks marks the lots' edges below y and writes as many of their
// frequencies, in MHz, as there is room for, the blocks' ends first.
func (s street) drawTicks(p *pen, chs []band.Channel, y float64) {
	type tick struct {
		hz   float64
		rank int
	}
	seen := map[float64]bool{}
	var ticks []tick
	for _, b := range s.blocks {
		ticks = append(ticks, tick{b.lowHz, 0}, tick{b.highHz, 0})
		seen[b.lowHz], seen[b.highHz] = true, true
	}
	for _, c := range chs {
		for _, hz := range []float64{c.LowerHz, c.UpperHz()} {
			if seen[hz] {
				continue
			}
			seen[hz] = true
			rank := 3
			switch {
			case math.Mod(hz, 30e6) == 0:
				rank = 1
			case math.Mod(hz, 12e6) == 0:
				rank = 2
			}
			ticks = append(ticks, tick{hz, rank})
		}
	}
	sort.SliceStable(ticks, func(i, j int) bool { return ticks[i].rank < ticks[j].rank })
	small := letters{size: 7.5, ink: soft}
	var taken []box
	for _, t := range ticks {
		x, _ := s.x(t.hz)
		p.line(soft, 0.5, nil, point{x, y}, point{x, y - 3})
		text := fmt.Sprintf("%.6g", t.hz/1e6)
		w := p.width(small, text)/2 + 1.2
		if t.rank > 0 {
			w += 1.5
		}
		b := box{x - w, 0, x + w, 1}
		if free(b, taken) {
			taken = append(taken, b)
			p.line(soft, 0.5, nil, point{x, y}, point{x, y - 5})
			p.text(small, x, y-12, 0.5, text)
		}
	}
}

// drawBreaks marks the pieces left out at height y and writes what they are.
func (s street) drawBreaks(p *pen, y float64) {
	l := letters{size: 7, ink: soft, halo: true}
	for i := 1; i < len(s.blocks); i++ {
		a, b := s.blocks[i-1], s.blocks[i]
		mid := (a.x1 + b.x0) / 2
		for _, dx := range []float64{-2, 2} {
			p.line(black, 0.9, nil, point{mid + dx - 2, y - 5}, point{mid + dx + 2, y + 5})
		}
		if b.x0-a.x1 >= 9 {
			p.upright(l, mid, y+10, 0, fmt.Sprintf("%.6g–%.6g MHz left out", a.highHz/1e6, b.lowHz/1e6))
		}
	}
}

func free(b box, taken []box) bool {
	for _, t := range taken {
		if b.x0 < t.x1 && t.x0 < b.x1 && b.y0 < t.y1 && t.y0 < b.y1 {
			return false
		}
	}
	return true
}

// bandName is the trade's name for the piece of spectrum a block lies in.
func bandName(hz float64) string {
	switch {
	case hz < 30e6:
		return ""
	case hz < 108e6:
		return "low VHF"
	case hz < 300e6:
		return "high VHF"
	case hz < 3e9:
		return "UHF"
	}
	return ""
}

// channelsOf is the plan's view of the rows.
func channelsOf(rows []scan.Channel) []band.Channel {
	out := make([]band.Channel, len(rows))
	for i, r := range rows {
		out[i] = r.Channel
	}
	return out
}
