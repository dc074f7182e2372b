package plot

import (
	"image/color"
	"math"
	"strings"

	"rooftone/scan"
	"rooftone/scan/verdict"
)

// The ends of the height axis, dB of margin. They are the same in every
// picture, so that two can be laid side by side; what goes beyond is cut off
// with a mark.
const (
	topDB   = toneHighDB
	floorDB = toneLowDB
)

// builder draws what stands on the lots of a street.
type builder struct {
	*pen
	scale  *scale
	street street
	ground float64 // y of 0 dB
	perDB  float64 // points
}

// y is a margin's height on the page.
func (b *builder) y(db float64) float64 {
	return b.ground + b.perDB*math.Max(floorDB, math.Min(topDB, db))
}

// walls are where a house stands within its lot.
func (b *builder) walls(c scan.Channel) (x0, x1 float64) {
	x0, x1 = b.street.span(c.Channel)
	yard := 0.1 * (x1 - x0)
	return x0 + yard, x1 - yard
}

func (b *builder) figures() letters {
	return letters{size: math.Max(6.5, math.Min(14, 0.56*b.street.lot())), bold: true, ink: black}
}

func (b *builder) remarks() letters {
	return letters{size: math.Max(6.5, math.Min(9, 0.5*b.street.lot())), ink: black}
}

// build draws one lot.
func (b *builder) build(c scan.Channel) {
	switch conditionOf(c) {
	case vacant:
		b.stakes(c)
	case unsure:
		b.questionable(c, "?", []float64{2.5, 1.8}, reasons(c))
	case unmeasured:
		if c.Grade == verdict.Trace {
			b.bottomless(c)
			return
		}
		b.questionable(c, "–", nil, append([]string{"margin not measured"}, reasons(c)...))
	case measured:
		b.house(c)
	case foreign:
		b.foreignHouse(c)
	}
}

// stakes mark a lot on which nothing stands.
func (b *builder) stakes(c scan.Channel) {
	x0, x1 := b.walls(c)
	for _, x := range []float64{x0, x1} {
		b.line(soft, 0.9, nil, point{x, b.ground}, point{x, b.ground + 5})
	}
}

// questionable draws something of which no height is known: it lies half above
// the ground and half below.
func (b *builder) questionable(c scan.Channel, sign string, dashes []float64, remarks []string) {
	x0, x1 := b.walls(c)
	room := rectangle(box{x0, b.ground - 10, x1, b.ground + 10})
	b.fill(paper, room...)
	b.outline(black, 0.9, dashes, room...)
	l := b.figures()
	b.text(l, (x0+x1)/2, b.ground-capital/2*l.size, 0.5, sign)
	b.sign(remarks, (x0+x1)/2, b.ground+14, b.y(topDB)-b.ground)
}

// bottomless draws a signal that cannot decode, of no measured depth: a cellar
// without a floor.
func (b *builder) bottomless(c scan.Channel) {
	x0, x1 := b.walls(c)
	const depth = 26
	b.hatch(black, 0.5, 2.8, falling, rectangle(box{x0, b.ground - depth, x1, b.ground})...)
	b.line(black, 0.8, nil, point{x0, b.ground - depth}, point{x0, b.ground}, point{x1, b.ground}, point{x1, b.ground - depth})
	b.sign(append([]string{"margin not measured"}, reasons(c)...), (x0+x1)/2, b.ground+4, b.y(topDB)-b.ground)
}

// house draws a channel with a margin. The slope of its roof spans the 95 %
// interval: the eaves at the low end, the ridge at the high end, with a beam
// at the value. A cellar is the same upside down. An interval with the ground
// in it makes a kite, its tips at the two ends.
func (b *builder) house(c scan.Channel) {
	m, _ := known(c.Margin)
	x0, x1 := b.walls(c)
	fill := b.scale.tone(m.v)
	for _, piece := range pieces(m) {
		pts := make([]point, len(piece.outline))
		for i, o := range piece.outline {
			pts[i] = point{x0 + o.x*(x1-x0), b.y(o.y)}
		}
		b.fill(fill, pts...)
		if piece.below {
			b.hatch(black, 0.5, 2.8, falling, pts...)
		}
		b.outline(black, 0.8, nil, pts...)
	}
	b.beam(m, x0, x1)
	mid, l := (x0+x1)/2, b.figures()
	if m.v < 0 {
		tip := b.y(m.v - m.half)
		if m.v < floorDB {
			b.cut(x0, x1, tip, -1)
			tip -= 6
		}
		b.text(l, mid, tip-3-capital*l.size, 0.5, wholeDB(m.v))
		b.sign(reasons(c), mid, b.y(math.Max(0, m.v+m.half))+4, b.y(topDB)-b.ground)
		return
	}
	tip := b.y(m.v + m.half)
	if m.v > topDB {
		b.cut(x0, x1, tip, 1)
		tip += 6
	}
	l.halo = true
	b.text(l, mid, tip+3, 0.5, wholeDB(m.v))
	b.remarkHouse(c, m, mid, tip+6+capital*l.size)
}

// foreignHouse draws a channel that most sets will not show, whatever its
// height: unfilled, its walls ruled upright, with the standard's name on it.
// Without a margin it is a tank, half above the ground and half below.
func (b *builder) foreignHouse(c scan.Channel) {
	x0, x1 := b.walls(c)
	mid, room := (x0+x1)/2, b.y(topDB)-b.ground
	remarks := append([]string{standardInWords(c)}, reasons(c)...)
	m, ok := known(c.Margin)
	if !ok {
		b.tank(x0, x1, b.ground, 10)
		b.sign(remarks, mid, b.ground+14, room)
		return
	}
	for _, piece := range pieces(m) {
		pts := make([]point, len(piece.outline))
		for i, o := range piece.outline {
			pts[i] = point{x0 + o.x*(x1-x0), b.y(o.y)}
		}
		b.ruledWalls(pts)
	}
	l := b.figures()
	l.halo = true
	if m.v < 0 {
		b.text(l, mid, b.y(m.v-m.half)-3-capital*l.size, 0.5, wholeDB(m.v))
		b.sign(remarks, mid, b.y(math.Max(0, m.v+m.half))+4, room)
		return
	}
	tip := b.y(m.v + m.half)
	b.text(l, mid, tip+3, 0.5, wholeDB(m.v))
	above := tip + 6 + capital*l.size
	if sky := b.y(topDB) + 14 - above; sky > 40 {
		b.sign(remarks, mid, above, sky)
		return
	}
	b.sign(remarks, mid, b.ground+4, room)
}

// tank is a house of no known height, half of it above the ground.
func (b *builder) tank(x0, x1, ground, half float64) {
	const corner = 3.5
	b.ruledWalls([]point{
		{x0 + corner, ground - half}, {x1 - corner, ground - half}, {x1, ground - half + corner}, {x1, ground + half - corner},
		{x1 - corner, ground + half}, {x0 + corner, ground + half}, {x0, ground + half - corner}, {x0, ground - half + corner},
	})
}

func (b *builder) ruledWalls(pts []point) {
	b.fill(paper, pts...)
	b.hatch(black, 0.5, 2.8, rising, pts...)
	b.outline(black, 0.9, nil, pts...)
}

// beam marks the value within the slope of a roof.
func (b *builder) beam(m value, x0, x1 float64) {
	if m.half*b.perDB < 1.2 || m.v >= topDB || m.v <= floorDB {
		return
	}
	// Half way up its slope a house is half as wide. A kite's slope begins at
	// the ground, below that.
	part := math.Max(0.5, m.half/(math.Abs(m.v)+m.half))
	tint := on(b.scale.lab(m.v))
	if m.v < 0 {
		tint = color.Black
	}
	inset := (1 - part) / 2 * (x1 - x0)
	b.line(tint, 0.8, nil, point{x0 + inset, b.y(m.v)}, point{x1 - inset, b.y(m.v)})
}

// remarkHouse writes what limits a channel into its house if that is high
// enough, and above its figure if not.
func (b *builder) remarkHouse(c scan.Channel, m value, mid, above float64) {
	list := reasons(c)
	if len(list) == 0 {
		return
	}
	l := b.remarks()
	floor, ceiling := b.ground+4, b.y(m.v-m.half)-3
	if m.v > topDB {
		ceiling = b.y(topDB) - 14
	}
	inside, sky := ceiling-floor, b.y(topDB)+14-above
	if b.width(l, strings.Join(list, ", ")) <= inside || inside > sky {
		l.ink = on(b.scale.lab(m.v))
		b.upright(l, mid, floor, 0, b.shorten(l, list, inside))
		return
	}
	b.sign(list, mid, above, sky)
}

// sign writes remarks upwards from y, as many as there is room for.
func (b *builder) sign(remarks []string, mid, y, room float64) {
	l := b.remarks()
	l.halo = true
	b.upright(l, mid, y, 0, b.shorten(l, remarks, room))
}

// shorten joins as many remarks as fit and counts the others.
func (b *builder) shorten(l letters, remarks []string, room float64) string {
	return joinFitting(remarks, ", ", func(s string) bool { return b.width(l, s) <= room })
}

// cut marks a house that goes on beyond the axis: a gap across it, and an
// arrow at its end. Up is 1 at the top and −1 at the floor.
func (b *builder) cut(x0, x1, tip, up float64) {
	const teeth = 4
	var lower, upper []point
	for i := 0; i <= teeth; i++ {
		x := x0 - 1 + (x1-x0+2)*float64(i)/teeth
		y := tip - up*(9-3*float64(i%2))
		lower = append(lower, point{x, y})
		upper = append([]point{{x, y + up*2.5}}, upper...)
	}
	b.fill(paper, append(append([]point{}, lower...), upper...)...)
	b.line(black, 0.7, nil, lower...)
	b.line(black, 0.7, nil, upper...)
	mid := (x0 + x1) / 2
	b.fill(black, point{mid - 3.2, tip + up*1.5}, point{mid + 3.2, tip + up*1.5}, point{mid, tip + up*6})
}

// piece is a part of a house: its outline, x in widths of the house and y in
// dB.
type piece struct {
	outline []point
	below   bool // the ground
}

// pieces returns a house cut off at the ends of the axis: above the ground a
// wall to the eaves and a roof to the ridge, below it the same upside down.
func pieces(m value) []piece {
	low, high := m.v-m.half, m.v+m.half
	if m.v > topDB || m.v < floorDB { // the height is not to scale, so neither is the slope
		low, high = m.v, m.v
	}
	var out []piece
	if high > 0 || m.v >= 0 {
		out = append(out, piece{gable(math.Max(low, 0), high, topDB), false})
	}
	if low < 0 {
		out = append(out, piece{gable(math.Max(-high, 0), -low, -floorDB), true})
		below := out[len(out)-1].outline
		for i := range below {
			below[i].y = -below[i].y
		}
	}
	return out
}

// gable is a wall of height eaves with a roof up to ridge, or as much of it as
// there is below the ceiling.
func gable(eaves, ridge, ceiling float64) []point {
	if ridge <= ceiling {
		return []point{{0, 0}, {0, eaves}, {0.5, ridge}, {1, eaves}, {1, 0}}
	}
	if eaves >= ceiling {
		return []point{{0, 0}, {0, ceiling}, {1, ceiling}, {1, 0}}
	}
	x := 0.5 * (ceiling - eaves) / (ridge - eaves)
	return []point{{0, 0}, {0, eaves}, {x, ceiling}, {1 - x, ceiling}, {1, eaves}, {1, 0}}
}
