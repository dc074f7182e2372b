package plot

import (
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/scan/decide"
	"rooftone/scan/site"
)

// Where things stand on the grid's page, points.
const (
	gridTop    = 404.0 // of the first row when no channel has a name
	gridNames  = 352.0 // the same below the channels' names
	gridBottom = 92.0
	gridLeft   = 196.0 // of the first column
	gridEnd    = pageWidth - 96
	gridKey    = 62.0
	gridSmall  = 46.0
)

// Grid draws a house's places as rows, the best first, and its wanted channels
// as columns, each cell the margin there, and writes it as "png", "svg" or
// "pdf".
func Grid(w io.Writer, format string, p *Places, o Options) error {
	if p == nil {
		return errNoPlaces
	}
	if o.Title == "" {
		o.Title = "Where the antenna serves best: " + p.House
	}
	a := about{title: o.Title, description: p.spoken()}
	return paint(w, format, a, func(pn *pen) { drawGrid(pn, p, o) })
}

// spoken is the grid for those who cannot see it.
func (p *Places) spoken() string {
	out := []string{p.headline()}
	for i := range p.Ranking.Rows {
		r := &p.Ranking.Rows[i]
		line := fmt.Sprintf("rank %s, %s:", p.rankOf(r), r.Spot)
		for _, w := range p.Wanted {
			c := p.cell(r, w.RFChannel)
			text := "not measured"
			switch {
			case c.other:
				text = "ATSC 3.0"
			case c.ok:
				text = strings.Replace(wholeDB(c.m.v), "\u2212", "-", 1) + " dB"
			case c.there:
				text = "weak"
			case c.measured:
				text = "not there"
			}
			line += fmt.Sprintf(" channel %d %s,", w.RFChannel, text)
		}
		out = append(out, strings.TrimSuffix(line, ","))
	}
	return strings.Join(append(out, p.remarks()...), "; ") + "."
}

// northInPicture is NorthLine as a sentence after another.
func (p *Places) northInPicture() string {
	if l := p.NorthLine(); l != "" {
		return " " + strings.ToUpper(l[:1]) + l[1:] + "."
	}
	return ""
}

// grid lays out the cells.
type grid struct {
	*pen
	scale    *scale
	places   *Places
	rows     []decide.Row
	wanted   []site.Want
	top      float64
	wide     float64 // of a cell
	high     float64
	number   letters
	more     int // rows that have no room
	moreChan int
}

func drawGrid(pn *pen, p *Places, o Options) {
	need := p.Ranking.Options.EnoughDB
	heading(pn, o.Title, p.headline(), fmt.Sprintf("How to read it: a row is a place and heading, the best on top; a column is a wanted RF channel. "+
		"The number is the margin there in dB above what a receiver needs; the darker, the more. A cell in a thick frame has the %.3g dB that are enough.%s", need, p.northInPicture()))
	if len(p.Ranking.Rows) == 0 {
		pn.text(letters{size: 11, bold: true, ink: soft}, pageWidth/2, pageHeight/2, 0.5, "nothing was marked yet")
		return
	}
	g := layGrid(pn, p)
	g.heads()
	for i := range g.rows {
		g.row(i)
	}
	g.brackets()
	g.key()
	g.small()
}

func layGrid(pn *pen, p *Places) *grid {
	const least, mostHigh, mostWide, mostColumns = 9.0, 34.0, 56.0, 40
	g := &grid{pen: pn, scale: newScale(), places: p, rows: p.Ranking.Rows, wanted: p.Wanted, top: gridTop}
	for _, w := range g.wanted {
		if p.Labels[w.RFChannel] != "" {
			g.top = gridNames
		}
	}
	if most := int((g.top - gridBottom) / least); len(g.rows) > most {
		g.more = len(g.rows) - most + 1
		g.rows = g.rows[:most-1]
	}
	if len(g.wanted) > mostColumns {
		g.moreChan = len(g.wanted) - mostColumns
		g.wanted = g.wanted[:mostColumns]
	}
	g.high = math.Min(mostHigh, (g.top-gridBottom)/float64(len(g.rows)))
	g.wide = math.Min(mostWide, (gridEnd-gridLeft)/float64(len(g.wanted)))
	g.number = letters{size: math.Max(5.5, math.Min(12, math.Min(0.45*g.high, 0.4*g.wide))), bold: true}
	return g
}

func (g *grid) cellBox(row, column int) box {
	x, y := gridLeft+g.wide*float64(column), g.top-g.high*float64(row)
	return box{x + 0.8, y - g.high + 0.8, x + g.wide - 0.8, y - 0.8}
}

func (g *grid) right() float64 { return gridLeft + g.wide*float64(len(g.wanted)) }

// heads writes the channels over their columns, and what they are called.
func (g *grid) heads() {
	small := letters{size: 7.5, ink: soft}
	l := letters{size: math.Min(11, 0.5*g.wide+1), bold: true, ink: black}
	name := letters{size: math.Min(8, 0.6*g.wide), ink: black}
	for i, w := range g.wanted {
		x := gridLeft + g.wide*(float64(i)+0.5)
		c := l
		text := fmt.Sprint(w.RFChannel)
		switch {
		case w.Importance == 0:
			c.ink, c.bold = soft, false
		case w.Importance > 1 && g.wide > 24:
			text += fmt.Sprintf(" \u00d7%d", w.Importance)
			c.size = math.Min(c.size, 0.36*g.wide)
		}
		g.text(c, x, g.top+5, 0.5, text)
		if label := g.places.Labels[w.RFChannel]; label != "" {
			g.upright(name, x, g.top+18, 0, g.fit(name, label, 54))
		}
	}
	g.text(small, gridLeft-6, g.top+5, 1, "channel")
	g.text(small, g.right()+8, g.top+5, 0, "enough")
}

// row draws one place.
func (g *grid) row(i int) {
	r := &g.rows[i]
	middle := g.top - g.high*(float64(i)+0.5)
	size := math.Max(6, math.Min(10, 0.42*g.high+1))
	l := letters{size: size, ink: black, bold: r.Rank == 1}
	base := middle - capital/2*size
	g.text(l, 66, base, 1, g.places.rankOf(r))
	g.text(l, 72, base, 0, spotName(r.Spot, func(s string) bool { return g.width(l, s) <= gridLeft-72-6 }))
	for j, w := range g.wanted {
		g.cell(g.cellBox(i, j), g.places.cell(r, w.RFChannel))
	}
	text := fmt.Sprintf("%d of %d", len(r.Enough), g.places.weight())
	g.text(l, g.right()+8, base, 0, g.fit(l, text, pageWidth-marginX-g.right()-8))
	if r.Rank == 1 {
		g.fill(black, point{38, middle + 4}, point{45, middle}, point{38, middle - 4})
	}
}

// cell draws a margin in its tone. What cannot decode is hatched, what is
// enough has a thick frame, what is not there is struck through.
func (g *grid) cell(b box, c spotCell) {
	pts := rectangle(b)
	mid, base := (b.x0+b.x1)/2, (b.y0+b.y1)/2-capital/2*g.number.size
	l := g.number
	switch {
	case !c.measured:
		g.outline(soft, 0.7, []float64{0.8, 2.2}, pts...)
		return
	case c.other:
		g.outline(faint, 0.6, nil, pts...)
		note := letters{size: math.Min(7, g.number.size), ink: black}
		text := g.fit(note, "ATSC 3.0", b.x1-b.x0-2)
		g.text(note, mid, base, 0.5, text)
		return
	case !c.there && !c.ok:
		g.outline(faint, 0.6, nil, pts...)
		g.line(soft, 1, nil, point{mid - 4, (b.y0 + b.y1) / 2}, point{mid + 4, (b.y0 + b.y1) / 2})
		return
	case !c.ok:
		g.hatch(black, 0.5, 2.8, falling, pts...)
		g.outline(black, 0.6, nil, pts...)
		return
	}
	g.fill(g.scale.tone(c.m.v), pts...)
	l.ink = on(g.scale.lab(c.m.v))
	if c.m.v < 0 {
		g.hatch(black, 0.5, 2.8, falling, pts...)
		l.ink = black
	}
	thick := 0.5
	if c.m.v >= g.places.Ranking.Options.EnoughDB {
		in := box{b.x0 + 0.6, b.y0 + 0.6, b.x1 - 0.6, b.y1 - 0.6}
		pts, thick = rectangle(in), 1.8
	}
	g.outline(black, thick, nil, pts...)
	half := halfWidth(c.m.half, true, "\u00b1")
	note := letters{size: math.Max(6, 0.6*l.size), ink: l.ink}
	text := wholeDB(c.m.v)
	w := g.width(l, text) + 2 + g.width(note, half)
	if half == "" || g.high < 16 || w > b.x1-b.x0-5 {
		half, w = "", g.width(l, text)
	}
	if c.m.v < 0 {
		g.fill(paper, rectangle(box{mid - w/2 - 1.5, base - 1.5, mid + w/2 + 1.5, base + capital*l.size + 1.5})...)
	}
	g.text(l, mid-w/2, base, 0, text)
	g.text(note, mid+w/2, base, 1, half)
}

// brackets join the rows that cannot be told apart, and frame the best.
func (g *grid) brackets() {
	const x = 34.0
	for i := 0; i < len(g.rows); {
		j := i
		for j < len(g.rows) && g.rows[j].Rank == g.rows[i].Rank {
			j++
		}
		if g.rows[i].Rank == 1 {
			g.outline(black, 1.6, nil, rectangle(box{gridLeft - 3, g.top - g.high*float64(j) - 2, g.right() + 3, g.top - g.high*float64(i) + 2})...)
		}
		if j-i > 1 {
			y0, y1 := g.top-g.high*float64(j)+3, g.top-g.high*float64(i)-3
			g.line(black, 1, nil, point{x + 3, y0}, point{x, y0}, point{x, y1}, point{x + 3, y1})
			l := letters{size: 7, ink: black}
			if y1-y0 > g.width(l, "equal")+2 {
				g.upright(l, x-6, (y0+y1)/2, 0.5, "equal")
			}
		}
		i = j
	}
}

// key says what the cells mean.
func (g *grid) key() {
	l := letters{size: 7.5, ink: black}
	x := marginX + 2
	need := g.places.Ranking.Options.EnoughDB
	for _, e := range []struct {
		text string
		draw func(b box)
	}{
		{"enough", func(b box) {
			g.fill(g.scale.tone(need+6), rectangle(b)...)
			g.outline(black, 1.8, nil, rectangle(b)...)
		}},
		{"decodes, not enough", func(b box) {
			g.fill(g.scale.tone(need/2), rectangle(b)...)
			g.outline(black, 0.5, nil, rectangle(b)...)
		}},
		{"cannot decode", func(b box) {
			g.fill(g.scale.tone(-8), rectangle(b)...)
			g.hatch(black, 0.5, 2.8, falling, rectangle(b)...)
			g.outline(black, 0.5, nil, rectangle(b)...)
		}},
		{"not there", func(b box) {
			g.outline(faint, 0.6, nil, rectangle(b)...)
			y := (b.y0 + b.y1) / 2
			g.line(soft, 1, nil, point{b.x0 + 4, y}, point{b.x1 - 4, y})
		}},
		{"not measured", func(b box) { g.outline(soft, 0.7, []float64{0.8, 2.2}, rectangle(b)...) }},
		{"best, or as good as the best", func(b box) {
			y := (b.y0 + b.y1) / 2
			g.fill(black, point{b.x0 + 6, y + 4}, point{b.x0 + 13, y}, point{b.x0 + 6, y - 4})
		}},
	} {
		e.draw(box{x, gridKey - 2, x + 16, gridKey + 8})
		g.text(l, x+20, gridKey, 0, e.text)
		x += 20 + g.width(l, e.text) + 16
	}
	text := "\u00b1 is half the 95 % interval"
	if w := g.width(l, text); x+w < pageWidth-marginX {
		g.text(l, pageWidth-marginX, gridKey, 1, text)
	}
}

// small writes what the cells cannot say.
func (g *grid) small() {
	l := letters{size: 7.5, ink: black}
	remarks := g.places.remarks()
	if g.more > 0 {
		remarks = append([]string{fmt.Sprintf("%d places more have no room here", g.more)}, remarks...)
	}
	if g.moreChan > 0 {
		remarks = append([]string{fmt.Sprintf("%d channels more have no room here", g.moreChan)}, remarks...)
	}
	if len(remarks) == 0 {
		return
	}
	const most = 4
	y := gridSmall
	for i := range remarks {
		remarks[i] = upper(remarks[i]) + "."
	}
	lines := g.lines(l, strings.Join(remarks, " "), pageWidth-2*marginX)
	for i, line := range lines[:min(len(lines), most)] {
		if i == most-1 && len(lines) > most {
			line = g.fit(l, line+" \u2026", pageWidth-2*marginX)
		}
		g.text(l, marginX, y, 0, line)
		y -= 10
	}
}

// upper begins a sentence.
func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
