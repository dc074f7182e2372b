package plot

import (
	"math"

	"rooftone/scan/verdict"
)

// The bar of a terminal row. From left to right: cells below the ground, the
// ground's mark, cells up to the roof line, the roof line's mark, cells above.
// All cells stand for the same number of dB, a whole fraction of the roof
// line's 9.

// glyphs are the characters a bar is made of.
type glyphs struct {
	full, halfRight, halfLeft rune // half right: the half beside the ground of a cell above it
	blur, guess, ground, roof rune
}

func barGlyphs(utf8 bool) glyphs {
	if utf8 {
		return glyphs{full: '█', halfRight: '▌', halfLeft: '▐', blur: '▒', guess: '░', ground: '│', roof: '┊'}
	}
	return glyphs{full: '#', halfRight: '#', halfLeft: '#', blur: '=', guess: '-', ground: '|', roof: ':'}
}

// gauge is the layout of a bar.
type gauge struct {
	toRoof      int // cells from the ground to the roof line
	left, right int // cells below the ground and above the roof line
	cellDB      float64
}

// newGauge returns the finest gauge that is at most width characters wide.
func newGauge(width int) gauge {
	g := gaugeOf(2)
	for n := 3; n <= 18 && gaugeOf(n).width() <= width; n++ {
		g = gaugeOf(n)
	}
	return g
}

// gaugeOf reaches from some 18 dB below the ground to some 29 dB above it.
func gaugeOf(toRoof int) gauge {
	return gauge{toRoof: toRoof, left: 2 * toRoof, right: (11*toRoof + 4) / 5, cellDB: verdict.FirmMarginDB / float64(toRoof)}
}

func (g gauge) width() int { return g.left + 1 + g.toRoof + 1 + g.right }

// lowDB and highDB are the ends of the gauge.
func (g gauge) lowDB() float64  { return -float64(g.left) * g.cellDB }
func (g gauge) highDB() float64 { return float64(g.toRoof+g.right) * g.cellDB }

// place is the character position of the i-th cell above the ground, or of
// the −1−i-th below it.
func (g gauge) place(i int) int {
	switch {
	case i < 0:
		return g.left + i
	case i < g.toRoof:
		return g.left + 1 + i
	}
	return g.left + 2 + i
}

// empty is a gauge with its two marks and nothing else.
func (g gauge) empty(ch glyphs) []rune {
	out := make([]rune, g.width())
	for i := range out {
		out[i] = ' '
	}
	out[g.left] = ch.ground
	out[g.left+1+g.toRoof] = ch.roof
	return out
}

// bar draws a margin: full up to the low end of its 95 % interval, blurred to
// the high end. An interval narrower than a cell is drawn as a plain value. A
// bar that goes on beyond the gauge ends in an arrow head. A guess is all of
// one weak tone.
func (g gauge) bar(m value, guess bool, ch glyphs) []rune {
	out := g.empty(ch)
	low, high := m.v-m.half, m.v+m.half
	if high-low < g.cellDB {
		low, high = m.v, m.v
	}
	drawn := false
	for i := -g.left; i < g.toRoof+g.right; i++ {
		above := i >= 0
		// Distances of the cell's ends from the ground, the near one first.
		near := g.cellDB * float64(i)
		solid, blur := math.Max(0, low), high
		if !above {
			near = g.cellDB * float64(-1-i)
			solid, blur = math.Max(0, -high), -low
		}
		r := cell(near, g.cellDB, solid, blur, above, ch)
		if i == g.toRoof-1 && r == ch.full && solid < verdict.FirmMarginDB {
			// Near the roof line is not there: rounding must not say so.
			if r = 0; ch.halfRight != ch.full {
				r = ch.halfRight
			}
		}
		if r == 0 {
			continue
		}
		drawn = true
		if guess {
			r = ch.guess
		}
		out[g.place(i)] = r
	}
	switch {
	case !drawn && m.v < 0: // next to nothing still stands on one side
		out[g.place(-1)] = ch.halfLeft
	case !drawn:
		out[g.place(0)] = ch.halfRight
	}
	if m.v < g.lowDB() {
		out[0] = '<'
	}
	if m.v > g.highDB() {
		out[len(out)-1] = '>'
	}
	return out
}

// cell is the character of one cell, 0 for an empty one: solid and blur are
// how far from the ground the bar reaches for certain and perhaps.
func cell(near, size, solid, blur float64, above bool, ch glyphs) rune {
	part := (solid - near) / size
	half, enough := ch.halfLeft, 0.25
	if above {
		half = ch.halfRight
	}
	if half == ch.full {
		enough = 0.5
	}
	switch {
	case part >= 0.75:
		return ch.full
	case blur > solid && blur > near+size/2:
		return ch.blur
	case part >= enough:
		return half
	}
	return 0
}
