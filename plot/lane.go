package plot

import (
	"image/color"
	"math"

	"rooftone/scan"
	"rooftone/scan/site"
)

// laneLowDB is the ground of a lane: a little below the faintest echo that is
// looked for, so that this too stands above it.
const laneLowDB = faintEchoDB - 3

// lane draws the echoes of one channel: a street that leads away from the
// strongest path, with a narrow house for each echo, as far along as it comes
// late and as high as it is loud.
type lane struct {
	*pen
	scale *scale
	box           // from the ground to the strongest path's roof
	roof  float64 // how far up labels may go
	label letters
	far   *length // in which labels say the extra path too; nil: they do not
	units site.Units
	said  []box // where there are words already, of the channel that is drawn
}

func (k *lane) x(us float64) float64 {
	t := (us - earliestUS) / (latestUS - earliestUS)
	return k.x0 + (k.x1-k.x0)*math.Max(0, math.Min(1, t))
}

func (k *lane) y(db float64) float64 {
	t := (db - laneLowDB) / -laneLowDB
	return k.y0 + (k.y1-k.y0)*math.Max(0, math.Min(1, t))
}

// guides writes the levels of the dotted lines beside them.
func (k *lane) guides() {
	l := letters{size: 6, ink: soft}
	for _, db := range []float64{-10, faintEchoDB} {
		k.text(l, k.x0-2, k.y(db)-capital/2*l.size, 1, onPaper().number(db, 0)+" dB")
	}
}

// draw draws the street and what stands on it. It returns how many echoes
// found no room for their label.
func (k *lane) draw(c scan.Channel) int {
	for _, db := range []float64{-10, faintEchoDB} {
		k.line(faint, 0.4, []float64{0.6, 2.4}, point{k.x0, k.y(db)}, point{k.x1, k.y(db)})
	}
	k.fill(earth, rectangle(box{k.x0, k.y0 - 4, k.x1, k.y0})...)
	for us := earliestUS; us <= latestUS; us++ {
		length := 2.0
		if math.Mod(us, 5) == 0 {
			length = 4
		}
		k.line(soft, 0.5, nil, point{k.x(us), k.y0}, point{k.x(us), k.y0 - length})
	}
	k.line(black, 1.1, nil, point{k.x0, k.y0}, point{k.x1, k.y0})
	k.unheard(c)
	if s := noEchoes(c); s != "" {
		if trained(c) {
			k.mast()
		}
		l := k.label
		l.ink = soft
		x, y := k.x(0)+8, k.y(-13)
		if f, ok := hiddenFloor(c); ok {
			y = math.Max(y, k.y(f)+3)
		}
		k.text(l, x, y, 0, k.fit(l, s, k.x1-x))
		return 0
	}
	k.mast()
	list := arrivals(c)
	for _, a := range list {
		if !a.blamed {
			k.house(a)
		}
	}
	for _, a := range list {
		if a.blamed {
			k.house(a)
		}
	}
	return k.write(list)
}

// unheard fences what a part of a channel cannot tell: echoes fainter than the
// level down to which they would have been found, and what comes so soon after
// or before the strongest path that the part is too narrow to tell the two apart.
func (k *lane) unheard(c scan.Channel) {
	k.said = nil
	if basis(c) == "" || !trained(c) {
		return
	}
	if f, ok := hiddenFloor(c); ok {
		y := k.y(f)
		k.line(soft, 0.7, fenceDashes(), point{k.x0 + 1, k.y0}, point{k.x0 + 1, y}, point{k.x1 - 1, y}, point{k.x1 - 1, k.y0})
		l := letters{size: 6.5, ink: soft}
		if y-k.y0 > 2*l.size {
			const text = "too faint to be heard"
			x, base := k.x1-4, y-l.size-1
			k.text(l, x, base, 1, text)
			k.said = append(k.said, box{x - k.width(l, text), base - 0.2*l.size, x, base + capital*l.size})
		}
	}
	if hz := reachHz(c); hz > 0 {
		k.outline(soft, 0.7, fenceDashes(), rectangle(box{k.x(-1e6 / hz), k.y0 + 1, k.x(1e6 / hz), k.y(0)})...)
	}
}

// hiddenFloor is the level below which a part of a channel shows no echo, where
// that is above the level down to which echoes are looked for.
func hiddenFloor(c scan.Channel) (db float64, ok bool) {
	if f := c.EchoFloorDB; basis(c) != "" && f != nil && *f > faintEchoDB+0.5 {
		return math.Min(*f, 0), true
	}
	return 0, false
}

const mastHalf = 2.2

// mast is the strongest path.
func (k *lane) mast() {
	x := k.x(0)
	pts := rectangle(box{x - mastHalf, k.y0, x + mastHalf, k.y(0)})
	k.fill(soft, pts...)
	k.outline(black, 0.6, nil, pts...)
}

// plot is where an echo's house stands: as broad as the 95 % interval of its
// delay, but never too narrow to be seen, its roof sloping over the interval
// of its level.
func (k *lane) plot(a arrival) box {
	x := k.x(a.us.v)
	w := math.Max(1.2, (k.x(a.us.v+a.us.half)-k.x(a.us.v-a.us.half))/2)
	return box{x - w, k.y0, x + w, math.Max(k.y0+1, k.y(a.db.v+a.db.half))}
}

func (k *lane) house(a arrival) {
	b := k.plot(a)
	eaves := math.Min(b.y1, math.Max(k.y0+0.5, k.y(a.db.v-a.db.half)))
	mid := (b.x0 + b.x1) / 2
	pts := []point{{b.x0, k.y0}, {b.x0, eaves}, {mid, b.y1}, {b.x1, eaves}, {b.x1, k.y0}}
	if a.blamed {
		k.fill(k.scale.tone(24), pts...)
	} else {
		k.fill(k.scale.tone(-14), pts...)
	}
	k.outline(black, 0.6, nil, pts...)
	if y := k.y(a.db.v); b.y1-y > 1.2 && y > eaves { // a beam at the value
		part := (b.y1 - y) / (b.y1 - eaves)
		tint := color.Color(color.Black)
		if a.blamed {
			tint = color.White
		}
		k.line(tint, 0.7, nil, point{mid - part*(b.x1-mid), y}, point{mid + part*(b.x1-mid), y})
	}
	if away := a.us.v; away > latestUS || away < earliestUS { // it stands further on
		side := math.Copysign(1, away)
		k.fill(black, point{mid + side*2, k.y0 + 6}, point{mid + side*2, k.y0 + 12}, point{mid + side*7, k.y0 + 9})
	}
}

// mostLabels is how many labels a street takes before their leaders tangle.
const mostLabels = 10

// write puts a label to every echo that it finds room for, the loudest first,
// and returns how many have none.
func (k *lane) write(list []arrival) int {
	taken := append([]box{{k.x(0) - mastHalf - 1, k.y0, k.x(0) + mastHalf + 1, k.y(0) + 1}}, k.said...)
	for _, a := range list {
		b := k.plot(a)
		taken = append(taken, box{b.x0 - 0.8, b.y0, b.x1 + 0.8, b.y1 + 0.8})
	}
	order := make([]arrival, 0, len(list))
	order = append(order, list...)
	sortLoudest(order)
	missed := max(0, len(order)-mostLabels)
	for _, a := range order[:len(order)-missed] {
		l := k.label
		l.bold = a.blamed
		text := onPaper().brief(a, k.far)
		at, ok := k.place(l, text, k.plot(a), taken)
		if !ok {
			missed++
			continue
		}
		k.lead(k.plot(a), at)
		k.text(l, at.x0, at.y0+0.2*l.size, 0, text)
		taken = append(taken, at)
	}
	return missed
}

// place finds the nearest free room for a label beside the top of a house.
func (k *lane) place(l letters, text string, house box, taken []box) (box, bool) {
	w, h := k.width(l, text), (0.2+capital)*l.size
	best, least := box{}, math.Inf(1)
	top := house.y1
	step := h / 2
	for i := -24; i <= 24; i++ {
		y := top - h/2 + float64(i)*step
		if y < k.y0+1 || y+h > k.roof {
			continue
		}
		for j := 0; j <= 24; j++ {
			for _, right := range []bool{true, false} {
				x := house.x1 + 3 + float64(j)*6
				if !right {
					x = house.x0 - 3 - float64(j)*6 - w
				}
				b := box{x, y, x + w, y + h}
				if x < k.x0 || x+w > k.x1 || !free(box{x - 1.5, y - 0.3, x + w + 1.5, y + h + 0.3}, taken) {
					continue
				}
				cost := math.Abs(float64(i))*step + float64(j)*6 + k.crossed(house, b, taken)
				if !right {
					cost += 4
				}
				if cost < least {
					best, least = b, cost
				}
			}
		}
	}
	return best, !math.IsInf(least, 1)
}

// leader is the line from a house's top to its label.
func leader(house, at box) (from, to point) {
	from = point{(house.x0 + house.x1) / 2, house.y1}
	to = point{at.x0 - 1, (at.y0 + at.y1) / 2}
	if at.x1 < from.x {
		to.x = at.x1 + 1
	}
	return from, to
}

// crossed is the cost of what a leader would cross.
func (k *lane) crossed(house, at box, taken []box) float64 {
	from, to := leader(house, at)
	cost := 0.0
	const steps = 16
	for _, t := range taken {
		if t.x0 <= from.x && from.x <= t.x1 && math.Abs(t.y1-0.8-from.y) < 0.1 {
			continue // the house itself
		}
		for i := 1; i <= steps; i++ {
			x := from.x + (to.x-from.x)*float64(i)/steps
			y := from.y + (to.y-from.y)*float64(i)/steps
			if x > t.x0-1 && x < t.x1+1 && y > t.y0-1 && y < t.y1+1 {
				cost += 25
				break
			}
		}
	}
	return cost
}

// lead draws the line from a house's top to its label where the two do not
// touch anyway.
func (k *lane) lead(house, at box) {
	from, to := leader(house, at)
	if math.Hypot(to.x-from.x, to.y-from.y) < 5+(house.x1-house.x0)/2 {
		return
	}
	k.line(soft, 0.5, nil, from, to)
}
