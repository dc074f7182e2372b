package plot

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// Rose draws margin against bearing for each wanted channel, at the place that
// was marked with the most headings, and writes it as "png", "svg" or "pdf".
func Rose(w io.Writer, format string, p *Places, o Options) error {
	if p == nil {
		return errNoPlaces
	}
	place, rows := p.Turned()
	if o.Title == "" {
		o.Title = "Where to point the antenna: " + p.House
	}
	r := &rose{scale: newScale(), places: p, rows: rows}
	a := about{title: o.Title, description: r.spoken(place)}
	return paint(w, format, a, func(pn *pen) {
		r.pen = pn
		r.draw(o, place)
	})
}

// Beam is what a fit makes of one channel's margins against bearing.
type Beam struct {
	Heading measure.Estimate  // degrees
	Width   *measure.Estimate // between the points 3 dB down; nil where it could not be told
}

// turnWorth is how many marked headings a turn weighs as much as.
const turnWorth = 12

// Curve is the newest turn's curve of a channel at the place that Turned returns;
// nil when it was not turned there.
func (p *Places) Curve(rfChannel int) []site.Aimed {
	_, rows := p.Turned()
	if len(rows) == 0 {
		return nil
	}
	for i := len(p.Turns) - 1; i >= 0; i-- {
		if !p.Turns[i].At(rows[0].Spot.Place, rows[0].Spot.HeightM, p.Ranking.Options) {
			continue
		}
		for _, c := range p.Turns[i].Curves {
			if c.RFChannel == rfChannel {
				return c.Points
			}
		}
	}
	return nil
}

// Turned returns the place that was marked with the most headings, a turn counting
// for many, and its rows in order of bearing; nothing when no mark has a bearing.
func (p *Places) Turned() (place string, rows []*decide.Row) {
	groups := map[string][]*decide.Row{}
	var order []string
	for i := range p.Ranking.Rows {
		r := &p.Ranking.Rows[i]
		if r.Spot.BearingDeg == nil {
			continue
		}
		s := site.Spot{Place: r.Spot.Place, HeightM: r.Spot.HeightM, Units: r.Spot.Units}
		key := strings.ToLower(s.String())
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], r)
	}
	most := 0
	for _, key := range order {
		n := len(groups[key])
		first := groups[key][0].Spot
		if slices.ContainsFunc(p.Turns, func(t site.TurnRecord) bool { return t.At(first.Place, first.HeightM, p.Ranking.Options) }) {
			n += turnWorth
		}
		if n > most { // of equals the better
			most, rows = n, groups[key]
		}
	}
	if rows == nil {
		return "", nil
	}
	slices.SortStableFunc(rows, func(a, b *decide.Row) int {
		switch d := *a.Spot.BearingDeg - *b.Spot.BearingDeg; {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
	s := site.Spot{Place: rows[0].Spot.Place, HeightM: rows[0].Spot.HeightM, Units: rows[0].Spot.Units}
	return s.String(), rows
}

// The heights of a rose, dB: the ground is a circle on which the houses stand
// outwards, with their cellars towards the middle.
const (
	roseFloorDB = -20.0
	roseGround  = 0.5 // radius of the ground, in outer radii
)

type rose struct {
	*pen
	scale  *scale
	places *Places
	rows   []*decide.Row

	middle point
	radius float64
	topDB  float64 // at the rim
	letter float64 // how far outside the rim the directions stand
}

// at is the place at a bearing and a radius.
func (r *rose) at(deg, radius float64) point {
	s, c := math.Sincos(deg * math.Pi / 180)
	return point{r.middle.x + radius*s, r.middle.y + radius*c}
}

// height is the radius of a margin.
func (r *rose) height(db float64) float64 {
	if db < 0 {
		return r.radius * roseGround * (1 - 0.9*math.Min(1, db/roseFloorDB))
	}
	return r.radius * (roseGround + (1-roseGround)*math.Min(1, db/r.topDB))
}

// arc is points along a circle, clockwise.
func (r *rose) arc(from, to, radius float64) []point {
	n := max(2, int(math.Abs(to-from)/3)+1)
	out := make([]point, n+1)
	for i := range out {
		out[i] = r.at(from+(to-from)*float64(i)/float64(n), radius)
	}
	return out
}

// mostRoses is how many stand on one page.
const mostRoses = 12

func (r *rose) draw(o Options, place string) {
	north := map[site.North]string{
		"":                "Up is the north that the marks' headings were told from: true or magnetic, nobody said. ",
		site.TrueNorth:    "Up is true north. ",
		site.CompassNorth: "Up is magnetic north, as a compass shows it. ",
	}[r.places.North]
	line := "no mark has a bearing: rooftone mark PLACE --bearing DEGREES"
	if len(r.rows) > 0 {
		line = place + ", " + counted(len(r.rows), "heading", "headings") + r.single()
	}
	heading(r.pen, o.Title, line, fmt.Sprintf("How to read it: %sThe round street is the weakest signal that decodes. "+
		"A house outside it is a heading at which the channel decodes, as high as its margin; a hatched cellar inside is one at which it does not. "+
		"One that reaches the dashed roof line has the %.3g dB that are enough.", north, r.places.Ranking.Options.EnoughDB))
	if len(r.rows) == 0 {
		return
	}
	wanted := r.places.Wanted
	if len(wanted) > mostRoses {
		r.text(letters{size: 7.5, ink: soft}, pageWidth-marginX, 24, 1, fmt.Sprintf("and %d channels more", len(wanted)-mostRoses))
		wanted = wanted[:mostRoses]
	}
	const top, bottom, caption = 408.0, 40.0, 34.0
	for _, list := range r.places.Towards {
		if len(list) > 0 {
			r.letter = 8 // the arrows stand there
		}
	}
	columns := 1
	best := 0.0
	for c := 1; c <= len(wanted); c++ {
		lines := (len(wanted) + c - 1) / c
		high := (top-bottom)/float64(lines) - caption - 26 - 2*r.letter
		if size := math.Min(high, (pageWidth-2*marginX)/float64(c)-30-2*r.letter); size > best {
			best, columns = size, c
		}
	}
	lines := (len(wanted) + columns - 1) / columns
	wide, high := (pageWidth-2*marginX)/float64(columns), (top-bottom)/float64(lines)
	r.radius = best / 2
	r.topDB = r.rim(wanted)
	for i, w := range wanted {
		x, y := marginX+wide*(float64(i%columns)+0.5), top-high*float64(i/columns)
		r.middle = point{x, y - 13 - r.letter - r.radius}
		r.compass()
		r.channel(w, wide-8)
	}
	r.key()
}

// single names the one heading that serves all channels best there.
func (r *rose) single() string {
	here := r.rows[0].Spot
	for _, s := range r.places.Ranking.Headings {
		t := site.TurnRecord{Place: s.Place, HeightM: s.HeightM}
		if len(s.Costs) < 2 || !t.At(here.Place, here.HeightM, r.places.Ranking.Options) {
			continue
		}
		return fmt.Sprintf("; one heading for all: %s %s", site.Heading(s.Heading.Value), halfWidth(coverage*s.Heading.Sigma, true, "\u00b1"))
	}
	return ""
}

// rim is how many dB the rim stands for: 20, or 30 where something is higher.
func (r *rose) rim(wanted []site.Want) float64 {
	for _, w := range wanted {
		for _, row := range r.rows {
			if c := r.places.cell(row, w.RFChannel); c.ok && c.m.v+c.m.half > 20 {
				return 30
			}
		}
	}
	return math.Max(20, r.places.Ranking.Options.EnoughDB)
}

// compass draws the round street, the roof line and the directions.
func (r *rose) compass() {
	need := r.places.Ranking.Options.EnoughDB
	r.fill(earth, r.arc(0, 360, r.height(0))...)
	if r.topDB > 20 {
		r.line(faint, 0.4, []float64{0.6, 2.4}, r.arc(0, 360, r.height(20))...)
	}
	for deg := 0.0; deg < 360; deg += 30 {
		from := r.radius - 3
		if math.Mod(deg, 90) == 0 {
			from = r.radius - 6
		}
		r.line(soft, 0.7, nil, r.at(deg, from), r.at(deg, r.radius))
	}
	r.line(soft, 0.7, nil, r.arc(0, 360, r.radius)...)
	r.line(black, 0.9, []float64{5, 2.5}, r.arc(0, 360, r.height(need))...)
	size := math.Max(7, math.Min(10, 0.12*r.radius))
	l := letters{size: size, bold: true, ink: black}
	for i, name := range []string{"N", "E", "S", "W"} {
		pt := r.at(float64(90*i), r.radius+0.8*size+1+r.letter)
		r.text(l, pt.x, pt.y-capital/2*size, 0.5, name)
	}
}

// channel draws one channel's houses and what is known of its heading.
func (r *rose) channel(w site.Want, wide float64) {
	half := r.lotWidth()
	var labels []func()
	best, bestAt := value{}, -1.0
	for _, row := range r.rows {
		deg := *row.Spot.BearingDeg
		c := r.places.cell(row, w.RFChannel)
		switch {
		case !c.measured:
			continue
		case !c.ok:
			pt := r.arcBox(deg, r.height(0), 2)
			r.fill(paper, pt...)
			r.outline(soft, 0.8, nil, pt...)
			continue
		}
		r.house(deg, half, c.m)
		if bestAt < 0 || c.m.v > best.v {
			best, bestAt = c.m, deg
		}
		labels = append(labels, func() { r.figure(deg, c.m) })
	}
	r.line(black, 1.2, nil, r.arc(0, 360, r.height(0))...)
	r.curve(r.places.Curve(w.RFChannel))
	for _, deg := range r.places.Towards[w.RFChannel] {
		wide := 4 * 57.3 / r.radius
		r.fill(black, r.at(deg, r.radius+1), r.at(deg-wide, r.radius+8), r.at(deg+wide, r.radius+8))
	}
	beam, fitted := r.places.Beams[w.RFChannel]
	if fitted {
		r.beam(beam)
	}
	for _, f := range labels {
		f()
	}
	r.caption(w, best, bestAt, wide)
}

// curve draws what a turn heard; where it heard nothing the line is broken.
func (r *rose) curve(points []site.Aimed) {
	const gapDeg = 3 * site.CurveStepDeg
	draw := func(run []point) {
		if len(run) > 1 {
			r.line(paper, 3.2, nil, run...)
			r.line(black, 1.3, nil, run...)
		}
	}
	if n := len(points); n > 0 && points[0].BearingDeg+360-points[n-1].BearingDeg <= gapDeg {
		points = append(slices.Clone(points), site.Aimed{BearingDeg: points[0].BearingDeg + 360, LevelDB: points[0].LevelDB})
	}
	var run []point
	for i, a := range points {
		if i > 0 && a.BearingDeg-points[i-1].BearingDeg > gapDeg {
			draw(run)
			run = nil
		}
		run = append(run, r.at(a.BearingDeg, r.height(a.LevelDB)))
	}
	draw(run)
}

// lotWidth is half the angle that a house takes.
func (r *rose) lotWidth() float64 {
	least := 360.0
	for i, row := range r.rows {
		next := r.rows[(i+1)%len(r.rows)]
		if d := math.Abs(math.Remainder(*next.Spot.BearingDeg-*row.Spot.BearingDeg, 360)); d > 0 {
			least = math.Min(least, d)
		}
	}
	return math.Max(1.5, math.Min(7, 0.42*least))
}

// arcBox is a small square on a circle.
func (r *rose) arcBox(deg, radius, half float64) []point {
	c := r.at(deg, radius)
	return rectangle(box{c.x - half, c.y - half, c.x + half, c.y + half})
}

// house draws a margin as a house on the round street; the slope of its roof
// spans the 95 % interval.
func (r *rose) house(deg, half float64, m value) {
	for _, piece := range pieces(m) {
		pts := make([]point, len(piece.outline))
		for i, o := range piece.outline {
			pts[i] = r.at(deg+half*(2*o.x-1), r.height(o.y))
		}
		r.fill(r.scale.tone(m.v), pts...)
		if piece.below {
			r.hatch(black, 0.5, 2.8, falling, pts...)
		}
		r.outline(black, 0.8, nil, pts...)
	}
}

// figure writes a margin beyond its house where there is room.
func (r *rose) figure(deg float64, m value) {
	l := letters{size: math.Max(6, math.Min(9, 0.1*r.radius)), ink: black, halo: true}
	text := wholeDB(m.v)
	w := r.width(l, text)
	from := r.height(math.Max(0, m.v+m.half))
	pt := r.at(deg, from+2+0.5*w)
	if from+4+w > r.radius+12 {
		return
	}
	b := box{pt.x - w/2 - 0.5, pt.y - 0.6*l.size, pt.x + w/2 + 0.5, pt.y + 0.6*l.size}
	for _, other := range r.labels {
		if !free(b, []box{other.box}) {
			return
		}
	}
	r.text(l, pt.x, pt.y-capital/2*l.size, 0.5, text)
}

// beam marks the fitted heading, and the width of the beam where it is known.
func (r *rose) beam(b Beam) {
	outer := r.radius + 3
	if b.Width != nil && b.Width.Value > 0 && b.Width.Value < 360 {
		from, to := b.Heading.Value-b.Width.Value/2, b.Heading.Value+b.Width.Value/2
		r.line(black, 2.4, nil, r.arc(from, to, outer-3)...)
	}
	r.line(black, 1.2, nil, r.at(b.Heading.Value, r.height(0)), r.at(b.Heading.Value, outer))
}

// caption says which channel it is, and its best heading.
func (r *rose) caption(w site.Want, best value, bestAt, wide float64) {
	big := letters{size: 10, bold: true, ink: black}
	small := letters{size: 7.5, ink: black}
	y := r.middle.y - r.radius - 26 - r.letter
	r.text(big, r.middle.x, y, 0.5, r.fit(big, strings.TrimSpace(fmt.Sprintf("RF %d  %s", w.RFChannel, r.places.Labels[w.RFChannel])), wide))
	for _, text := range r.facts(w.RFChannel, best, bestAt) {
		y -= 9
		r.text(small, r.middle.x, y, 0.5, r.fit(small, text, wide))
	}
}

// facts are what is known of a channel's heading.
func (r *rose) facts(rfChannel int, best value, bestAt float64) []string {
	if bestAt < 0 {
		return []string{"not there at any heading"}
	}
	text := fmt.Sprintf("best %s: %s dB %s", site.Heading(bestAt), strings.TrimSpace(twoFigures(best.v, true)), halfWidth(best.half, false, "\u00b1"))
	out := []string{strings.Replace(strings.TrimSpace(text), "-", "\u2212", 1)}
	if b, ok := r.places.Beams[rfChannel]; ok {
		text := fmt.Sprintf("peak %s \u00b1%.0f\u00b0", site.Heading(b.Heading.Value), math.Ceil(coverage*b.Heading.Sigma))
		if b.Width != nil {
			text += fmt.Sprintf(", beam %.0f\u00b0 wide", b.Width.Value)
		}
		out = append(out, text)
	}
	return out
}

func (r *rose) key() {
	l := letters{size: 7.5, ink: soft}
	text := fmt.Sprintf("The rim is %.3g dB. The slope of a roof is the 95 %% interval. A small square: not there, or too weak to say how weak.", r.topDB)
	if r.letter > 0 {
		text += " Arrow at the rim: where the station stands."
	}
	if slices.ContainsFunc(r.places.Wanted, func(w site.Want) bool { return r.places.Curve(w.RFChannel) != nil }) {
		text += " Curve: what a turn heard."
	}
	if len(r.places.Beams) > 0 {
		text += " Line to the rim: the fitted peak; thick rim: the beam between its points 3 dB down."
	}
	for i, line := range r.lines(l, text, pageWidth-2*marginX-110) {
		r.text(l, marginX, 24-9*float64(i), 0, line)
	}
}

// spoken is the rose for those who cannot see it.
func (r *rose) spoken(place string) string {
	if len(r.rows) == 0 {
		return "No mark has a bearing."
	}
	out := []string{"Margin against bearing at " + place, r.places.North.Sentence()}
	for _, w := range r.places.Wanted {
		var at []string
		for _, row := range r.rows {
			if c := r.places.cell(row, w.RFChannel); c.ok {
				at = append(at, fmt.Sprintf("%.0f degrees %s dB", *row.Spot.BearingDeg, strings.Replace(wholeDB(c.m.v), "\u2212", "-", 1)))
			}
		}
		if len(at) == 0 {
			at = []string{"not there"}
		}
		out = append(out, fmt.Sprintf("channel %d: %s", w.RFChannel, strings.Join(at, ", ")))
		if c := r.places.Curve(w.RFChannel); c != nil {
			low, high := c[0], c[0]
			for _, a := range c {
				if a.LevelDB < low.LevelDB {
					low = a
				}
				if a.LevelDB > high.LevelDB {
					high = a
				}
			}
			out = append(out, fmt.Sprintf("a turn heard channel %d at %.0f to %.0f dB, best at %.0f degrees", w.RFChannel, low.LevelDB, high.LevelDB, high.BearingDeg))
		}
	}
	return strings.Join(out, "; ") + "."
}
