package plot

import (
	"fmt"
	"math"

	"rooftone/scan"
	"rooftone/scan/site"
)

// drawEchoPage draws one channel's echoes on a page of their own: the street,
// the figures, and a map of where the walls could stand.
func drawEchoPage(p *pen, s *scan.Survey, c scan.Channel, o Options) {
	heading(p, o.Title, echoHeadline(c), howToReadEchoes+
		"How loud a wall, a hill or a water tower is heard changes with aim and place: turn away from it, or move a foot or two.")
	if !trained(c) {
		p.text(letters{size: 11, bold: true, ink: soft}, pageWidth/2, pageHeight/2, 0.5, noEchoes(c))
		return
	}
	own, _ := lengths(o.Units)
	k := &lane{
		pen: p, scale: newScale(), label: letters{size: 8.5, ink: black}, far: &own, units: o.Units,
		box: box{marginX + 44, 286, pageWidth - marginX, 400}, roof: 414,
	}
	if noEchoes(c) != "" {
		k.y0, k.label.size = 110, 11
	}
	missed := k.draw(c)
	k.levels()
	k.measures(true, k.y0-5)
	if missed > 0 {
		k.text(letters{size: 7, ink: soft}, k.x1, k.roof+3, 1, fmt.Sprintf("and %d without a label", missed))
	}
	if noEchoes(c) != "" {
		return
	}
	list := arrivals(c)
	drawReflectors(p, k.scale, box{marginX, 52, 330, 234}, list, o.Units)
	drawEchoTable(p, box{362, 52, pageWidth - marginX, 234}, list, o.Units)
}

// levels writes the heights of a street.
func (k *lane) levels() {
	small := letters{size: 7.5, ink: soft}
	for _, db := range []float64{0, -5, -10, -15, faintEchoDB} {
		k.line(soft, 0.5, nil, point{k.x0 - 2.5, k.y(db)}, point{k.x0, k.y(db)})
		k.text(small, k.x0-5, k.y(db)-capital/2*small.size, 1, onPaper().number(db, 0))
	}
	k.line(soft, 0.5, nil, point{k.x0, k.y0}, point{k.x0, k.y(0)})
	k.upright(small, k.x0-30, (k.y0+k.y1)/2, 0.5, "dB under the strongest")
}

// drawReflectors draws, seen from above, where the walls could stand: a path
// by a wall is longer by D than the straight one from a station far away if
// the wall is anywhere on the parabola around the antenna whose ends lead
// towards the station, D/2 from it behind and D at its sides.
func drawReflectors(p *pen, sc *scale, room box, list []arrival, u site.Units) {
	title, small := letters{size: 9, bold: true, ink: black}, letters{size: 7.5, ink: soft}
	p.text(title, room.x0, room.y1, 0, "Where the wall could stand: anywhere on its line")
	m := reflectorMap{pen: p, scale: sc, room: box{room.x0, room.y0, room.x1, room.y1 - 10}, units: u}
	drawn := m.choose(list)
	if len(drawn) == 0 {
		for i, l := range p.lines(small, "No line to draw: what comes before the strongest path does not tell where a wall stands. The strongest path may itself come by a wall: look for the station in another direction.", room.x1-room.x0) {
			p.text(small, room.x0, room.y1-22-10*float64(i), 0, l)
		}
		return
	}
	for _, a := range drawn {
		m.band(a)
	}
	for _, a := range drawn {
		m.line(a)
	}
	m.antenna()
	for _, a := range drawn {
		m.name(a)
	}
	m.scaleBar()
}

// reflectorMap is a map with the station far above and the antenna in it.
type reflectorMap struct {
	units site.Units
	*pen
	scale     *scale
	room      box
	at        point   // the antenna
	pointPerU float64 // points per µs of way
	taken     []box
}

// choose takes the echoes that limit decoding, or else the loudest three, sets
// the scale so that their lines fit, and adds whatever else then fits and can
// be told from the antenna.
func (m *reflectorMap) choose(list []arrival) []arrival {
	order := append([]arrival(nil), list...)
	sortLoudest(order)
	widest, n := 0.0, 0
	for _, a := range order {
		if a.us.v > 0 && (a.blamed || n < 3) {
			n++
			widest = math.Max(widest, math.Min(a.us.v+a.us.half, 2*a.us.v))
		}
	}
	if widest == 0 {
		return nil
	}
	const nearest = 0.02 // µs: a wall so near is no place on a map
	widest = math.Max(widest, nearest)
	m.pointPerU = 0.46 * (m.room.x1 - m.room.x0) / widest
	m.at = point{(m.room.x0 + m.room.x1) / 2, m.room.y0 + 16 + widest*m.pointPerU/2}
	var out []arrival
	for _, a := range list {
		if w := a.us.v * m.pointPerU; w > 16 && w < 0.5*(m.room.x1-m.room.x0) {
			out = append(out, a)
		}
	}
	return out
}

// parabola is the line of an extra path in µs, from left to right, as much of
// it as the map holds.
func (m *reflectorMap) parabola(us float64) []point {
	d := us * m.pointPerU
	half := (m.room.x1 - m.room.x0) / 2
	if up := m.room.y1 - m.at.y; d*d+2*d*up < half*half {
		half = math.Sqrt(d*d + 2*d*up)
	}
	var out []point
	const n = 60
	for i := -n; i <= n; i++ {
		x := half * float64(i) / n
		out = append(out, point{m.at.x + x, m.at.y + (x*x-d*d)/(2*d)})
	}
	return out
}

// band fills what lies between the ends of an extra path's 95 % interval.
func (m *reflectorMap) band(a arrival) {
	if a.us.half*m.pointPerU < 0.4 {
		return
	}
	outer := m.parabola(a.us.v + a.us.half)
	inner := m.parabola(math.Max(a.us.v-a.us.half, 0.02*a.us.v))
	for i := len(inner) - 1; i >= 0; i-- {
		outer = append(outer, inner[i])
	}
	m.fill(m.scale.tone(-14), outer...)
}

func (m *reflectorMap) line(a arrival) {
	if a.blamed {
		m.pen.line(black, 1.6, nil, m.parabola(a.us.v)...)
		return
	}
	m.pen.line(black, 0.6, nil, m.parabola(a.us.v)...)
}

// antenna draws what the lines are around, and which way the station is.
func (m *reflectorMap) antenna() {
	x, y := m.at.x, m.at.y
	top := m.room.y1 - 2
	m.pen.line(black, 0.8, []float64{3, 2}, point{x, y}, point{x, top - 6})
	m.fill(black, point{x - 3, top - 7}, point{x + 3, top - 7}, point{x, top})
	m.fill(paper, rectangle(box{x - 3, y - 3, x + 3, y + 3})...)
	m.fill(black, point{x - 4, y - 3}, point{x + 4, y - 3}, point{x, y + 4})
	m.taken = append(m.taken, box{x - 5, y - 4, x + 5, y + 5})
	l := letters{size: 7.5, ink: black, halo: true}
	m.put(l, "to the station", []point{{x + 5, top - 8}})
	if m.pointPerU > 0 {
		m.put(l, "antenna", []point{{x + 7, y - 3}, {x + 7, y + 6}, {x + 7, y - 14}})
	}
}

// name writes on a line, as on a map's contours, how far behind the antenna it
// passes and which echo it is.
func (m *reflectorMap) name(a arrival) {
	w := onPaper()
	l := letters{size: 7.5, bold: a.blamed, ink: black, halo: true}
	pts := m.parabola(a.us.v)
	write := func(text string, parts ...float64) {
		var tries []point
		for _, part := range parts {
			pt := pts[int(part*float64(len(pts)-1))]
			tries = append(tries, point{pt.x - m.width(l, text)/2, pt.y - capital/2*l.size})
		}
		m.put(l, text, tries)
	}
	own, _ := lengths(m.units)
	write(w.way(arrival{us: value{a.us.v / 2, a.us.half / 2}}, own.perUS)+" "+own.unit, 0.5, 0.57, 0.43, 0.64, 0.36)
	write(w.delay(a)+" "+w.micro+"s", 0.84, 0.16, 0.88, 0.12, 0.8, 0.2, 0.92, 0.08, 0.72, 0.28)
}

// put writes a text at the first of the places that is free.
func (m *reflectorMap) put(l letters, text string, places []point) {
	w := m.width(l, text)
	for _, at := range places {
		b := box{at.x, at.y - 0.2*l.size, at.x + w, at.y + capital*l.size}
		if b.x0 >= m.room.x0 && b.x1 <= m.room.x1 && b.y0 >= m.room.y0-2 && b.y1 <= m.room.y1 && free(box{b.x0 - 2, b.y0 - 1, b.x1 + 2, b.y1 + 1}, m.taken) {
			m.text(l, at.x, at.y, 0, text)
			m.taken = append(m.taken, b)
			return
		}
	}
}

// scaleBar draws a round length, and says how long it is in either unit.
func (m *reflectorMap) scaleBar() {
	own, other := lengths(m.units)
	round := 10.0
	for _, f := range []float64{20, 50, 100, 200, 500, 1000, 2000, 5000, 10000} {
		if f/own.perUS*m.pointPerU < 70 {
			round = f
		}
	}
	x0, y := m.room.x0, m.room.y0
	x1 := x0 + round/own.perUS*m.pointPerU
	m.pen.line(black, 0.8, nil, point{x0, y + 3}, point{x0, y}, point{x1, y}, point{x1, y + 3})
	m.put(letters{size: 7.5, ink: soft}, fmt.Sprintf("%.0f %s, %.0f %s", round, own.unit, round/own.perUS*other.perUS, other.unit), []point{{x1 + 4, y}})
}

// drawEchoTable lists the echoes with their uncertainties.
func drawEchoTable(p *pen, room box, list []arrival, u site.Units) {
	w := onPaper()
	own, other := lengths(u)
	title, head := letters{size: 9, bold: true, ink: black}, letters{size: 7.5, ink: soft}
	p.text(title, room.x0, room.y1, 0, "The echoes, with half their 95 % intervals")
	columns := []float64{62, 132, 182, 228, 330} // right ends
	y := room.y1 - 16
	for i, h := range []string{w.micro + "s late", "dB", own.unit + " further", other.unit, own.unit + " if straight behind"} {
		p.text(head, room.x0+columns[i], y, 1, h)
	}
	p.line(soft, 0.5, nil, point{room.x0, y - 4}, point{room.x0 + columns[4], y - 4})
	const step = 11
	fits := int((y - 8 - room.y0) / step)
	left := 0
	if len(list) > fits {
		left = len(list) - fits + 1
		order := append([]arrival(nil), list...)
		sortLoudest(order)
		faintest := order[len(order)-left-1].db.v
		var kept []arrival
		for _, a := range list {
			if a.db.v >= faintest && len(kept) < fits-1 {
				kept = append(kept, a)
			}
		}
		left = len(list) - len(kept)
		list = kept
	}
	y -= 5
	for _, a := range list {
		y -= step
		l := letters{size: 8, bold: a.blamed, ink: black}
		further, same, behind := "\u2013", "\u2013", "\u2013"
		if a.us.v > 0 {
			further, same = w.way(a, own.perUS), w.way(a, other.perUS)
			behind = w.way(arrival{us: value{a.us.v / 2, a.us.half / 2}}, own.perUS)
		}
		for i, text := range []string{
			w.delay(a) + " " + w.spread(a.us.half, decimals(a.us.half, 2)), w.level(a) + " " + w.spread(a.db.half, decimals(a.db.half, 1)),
			further, same, behind,
		} {
			p.text(l, room.x0+columns[i], y, 1, text)
		}
	}
	if left > 0 {
		p.text(head, room.x0, y-step, 0, fmt.Sprintf("and %d fainter", left))
	}
}
