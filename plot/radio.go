package plot

import (
	"fmt"
	"io"
	"math"

	"rooftone/scan/character"
)

// Radio draws what an examination found of a radio and writes it as "png", "svg" or
// "pdf": what becomes of a signal by its distance from the middle, and by how much
// the steps of gain are off their names.
func Radio(w io.Writer, format string, r *character.Character, o Options) error {
	if o.Title == "" {
		o.Title = "The radio " + r.Radio
	}
	a := about{o.Title, "Pass band, folding and gain steps of a radio. " + radioLine(r), r.Measured}
	return paint(w, format, a, func(p *pen) { drawRadio(p, r, o) })
}

// radioLine is what was found in one line.
func radioLine(r *character.Character) string {
	w := onPaper()
	text := fmt.Sprintf("%d stations", len(r.Stations))
	if r.DroopDB != nil {
		text += fmt.Sprintf("; %s dB down at the end of what is used", w.number(r.DroopDB.Value, 1))
	}
	if r.FoldingDB != nil {
		text += fmt.Sprintf("; folding there %s dB", w.number(r.FoldingDB.Value, 1))
	}
	if r.ClockPPM != nil {
		text += fmt.Sprintf("; clock %s ppm", w.number(r.ClockPPM.Value, 1))
	}
	return text
}

func drawRadio(p *pen, r *character.Character, o Options) {
	heading(p, o.Title, radioLine(r), "How to read it: above, what becomes of a signal by its place in a slice, in parts of half the sample rate; dots are stations' pilots with their 95 % intervals, "+
		"the line is the noise of vacant channels, and an open triangle says that no more than that comes back. In the shaded ends lies what folds back into the slice. "+
		"Below, by how many dB each step of gain is above or below its name, the highest being right.")
	const left, right = marginX + 34, pageWidth - marginX
	top := chart{pen: p, box: box{left, 236, right, 412}, fromX: -1.4, toX: 1.4, fromY: -42, toY: 4}
	top.response(r)
	bottom := chart{pen: p, box: box{left, 76, right, 190}}
	bottom.gains(r)
	small := letters{size: 7, ink: soft}
	p.text(small, marginX, smallY, 0, fmt.Sprintf("%.0f s of air time at %.4g MS/s, %s", r.AirSeconds, r.RateHz/1e6, r.Measured.Format("2006-01-02 15:04 MST")))
}

// chart is a box with two straight axes.
type chart struct {
	*pen
	box
	fromX, toX, fromY, toY float64
}

// at is where a place of the chart lies on the page, kept within its box.
func (c *chart) at(x, y float64) point {
	x, y = math.Max(c.fromX, math.Min(c.toX, x)), math.Max(c.fromY, math.Min(c.toY, y))
	return point{c.x0 + (x-c.fromX)/(c.toX-c.fromX)*(c.x1-c.x0), c.y0 + (y-c.fromY)/(c.toY-c.fromY)*(c.y1-c.y0)}
}

// axes draws the guide lines with their figures, and what they stand for.
func (c *chart) axes(stepX, stepY float64, nameX, nameY string) {
	small := letters{size: 8, ink: soft}
	w := onPaper()
	for y := math.Ceil(c.fromY/stepY) * stepY; y <= c.toY+1e-9; y += stepY {
		c.line(faint, 0.5, nil, c.at(c.fromX, y), c.at(c.toX, y))
		c.text(small, c.x0-5, c.at(c.fromX, y).y-3, 1, w.number(y, 0))
	}
	decimals := 0
	if stepX < 1 {
		decimals = 1
	}
	for x := math.Ceil(c.fromX/stepX-1e-9) * stepX; x <= c.toX+1e-9; x += stepX {
		at := c.at(x, c.fromY)
		c.line(soft, 0.5, nil, at, point{at.x, at.y - 3})
		c.text(small, at.x, at.y-12, 0.5, w.number(x, decimals))
	}
	c.line(soft, 0.7, nil, point{c.x0, c.y0}, point{c.x1, c.y0})
	c.text(small, (c.x0+c.x1)/2, c.y0-23, 0.5, nameX)
	c.upright(small, c.x0-28, (c.y0+c.y1)/2, 0.5, nameY)
}

func (c *chart) response(r *character.Character) {
	for _, side := range []float64{-1, 1} {
		a, b := c.at(side, c.fromY), c.at(side*1.4, c.toY)
		c.fill(earth, rectangle(box{math.Min(a.x, b.x), a.y, math.Max(a.x, b.x), b.y})...)
		for _, share := range []float64{character.EdgeShare, 2 - character.EdgeShare} {
			c.line(soft, 0.6, []float64{3, 2}, c.at(side*share, c.fromY), c.at(side*share, c.toY))
		}
	}
	c.axes(0.2, 10, "place in the slice, parts of half the sample rate", "dB from the middle")
	note := letters{size: 8, ink: soft}
	c.text(note, c.at(-1.27, 0).x, c.y1-10, 0.5, "folds back")
	c.text(note, c.at(1.27, 0).x, c.y1-10, 0.5, "folds back")
	var noise []point
	for _, q := range r.NoiseResponse {
		noise = append(noise, c.at(q.Share, q.DB))
	}
	c.line(soft, 1.2, nil, noise...)
	for _, q := range r.Response {
		at := c.at(q.Share, q.DB)
		if q.AtMost {
			c.outline(black, 0.8, nil, point{at.x - 3, at.y + 2}, point{at.x + 3, at.y + 2}, point{at.x, at.y - 3})
			continue
		}
		c.dot(at)
		c.line(black, 0.8, nil, c.at(q.Share, q.DB-2*q.SigmaDB), c.at(q.Share, q.DB+2*q.SigmaDB))
	}
	if len(r.Response)+len(noise) == 0 {
		c.nothing("no station and no vacant channel told of the pass band")
	}
}

// dot is a filled mark.
func (c *chart) dot(at point) {
	const half = 1.9
	c.fill(black, point{at.x - half, at.y}, point{at.x, at.y + half}, point{at.x + half, at.y}, point{at.x, at.y - half})
}

func (c *chart) nothing(text string) {
	c.text(letters{size: 10, bold: true, ink: soft, halo: true}, (c.x0+c.x1)/2, (c.y0+c.y1)/2, 0.5, text)
}

func (c *chart) gains(r *character.Character) {
	c.toX, c.fromY, c.toY = 50, -3, 3
	measured := 0
	for _, g := range r.Gains {
		c.fromX, c.toX = math.Min(c.fromX, g.NameDB), math.Max(c.toX, g.NameDB)
		if g.RealDB != nil {
			off := g.RealDB.Value - g.NameDB
			c.fromY, c.toY = math.Min(c.fromY, math.Floor(off)), math.Max(c.toY, math.Ceil(off))
			measured++
		}
	}
	step := 1.
	for (c.toY-c.fromY)/step > 8 {
		step *= 2
	}
	c.axes(5, step, "gain by its name, dB", "dB off its name")
	c.line(soft, 1, nil, c.at(c.fromX, 0), c.at(c.toX, 0))
	for _, g := range r.Gains {
		if g.RealDB == nil {
			continue
		}
		off := g.RealDB.Value - g.NameDB
		c.line(soft, 0.8, nil, c.at(g.NameDB, 0), c.at(g.NameDB, off))
		c.dot(c.at(g.NameDB, off))
		c.line(black, 0.8, nil, c.at(g.NameDB, off-2*g.RealDB.Sigma), c.at(g.NameDB, off+2*g.RealDB.Sigma))
	}
	if measured == 0 {
		c.nothing("the gain steps were not measured")
	}
}
