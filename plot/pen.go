package plot

import (
	"image/color"
	"math"
	"sort"
	"strings"
	"unicode"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// ink is an opaque colour, 0xRRGGBB.
type ink uint32

// The inks that are not the margin scale's.
const (
	black ink = 0x1c1a22 // text, outlines
	soft  ink = 0x68646f // what stands back: small print, vacant lots
	faint ink = 0xc4c0c8 // guide lines
	earth ink = 0xf2eee6 // below ground
	paper ink = 0xffffff
)

// RGBA makes ink a color.Color.
func (i ink) RGBA() (r, g, b, a uint32) {
	return uint32(i) >> 16 & 0xff * 0x101, uint32(i) >> 8 & 0xff * 0x101, uint32(i) & 0xff * 0x101, 0xffff
}

// point is a place on the page, in points from the lower left corner.
type point struct{ x, y float64 }

// box is an upright rectangle on the page.
type box struct{ x0, y0, x1, y1 float64 }

// letters is how a text looks.
type letters struct {
	size float64 // points
	bold bool
	ink  color.Color
	halo bool // on a piece of blank paper
}

// label is a text that was drawn, and the room it takes.
type label struct {
	text string
	box  box
}

// pen draws on a page.
type pen struct {
	c      draw.Canvas
	fonts  *font.Cache
	labels []label // every text drawn so far
}

func newPen(c vg.CanvasSizer) *pen {
	return &pen{c: draw.New(c), fonts: font.NewCache(liberation.Collection())}
}

func (p *pen) face(l letters) font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if l.bold {
		f.Weight = xfont.WeightBold
	}
	return p.fonts.Lookup(f, vg.Length(l.size))
}

func (p *pen) width(l letters, text string) float64 {
	f := p.face(l)
	return f.Width(clean(text)).Points()
}

// capital is the height of capitals and figures of the font, in sizes.
const capital = 0.72

// text writes along the street from its base line's place; align is 0 when
// that is its left end, 0.5 its middle, 1 its right end.
func (p *pen) text(l letters, x, y, align float64, text string) {
	text = clean(text)
	if text == "" {
		return
	}
	w := p.width(l, text)
	x -= align * w
	p.mark(l, text, box{x, y - 0.2*l.size, x + w, y + capital*l.size})
	p.c.FillString(p.face(l), vg.Point{X: vg.Length(x), Y: vg.Length(y)}, text)
}

// upright writes upwards, its middle line at x; align is 0 when y is its lower
// end, 1 its upper end.
func (p *pen) upright(l letters, x, y, align float64, text string) {
	text = clean(text)
	if text == "" {
		return
	}
	w := p.width(l, text)
	y -= align * w
	x += capital / 2 * l.size
	p.mark(l, text, box{x - capital*l.size, y, x + 0.2*l.size, y + w})
	p.c.Push()
	p.c.Translate(vg.Point{X: vg.Length(x), Y: vg.Length(y)})
	p.c.Rotate(math.Pi / 2)
	p.c.FillString(p.face(l), vg.Point{}, text)
	p.c.Pop()
}

// mark makes ready for a text.
func (p *pen) mark(l letters, text string, b box) {
	p.labels = append(p.labels, label{text, b})
	if l.halo {
		p.fill(paper, rectangle(b)...)
	}
	p.c.SetColor(l.ink)
}

// clean leaves out what cannot be drawn.
func clean(text string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsPrint(r) || r == unicode.ReplacementChar: // a broken encoding's too
			return -1
		}
		return r
	}, text))
}

// fit shortens text to a width, with an ellipsis where it was cut.
func (p *pen) fit(l letters, text string, width float64) string {
	text = clean(text)
	if p.width(l, text) <= width {
		return text
	}
	runes := []rune(text)
	n := sort.Search(len(runes), func(n int) bool {
		return p.width(l, string(runes[:n])+"…") > width
	})
	if n <= 1 {
		return ""
	}
	return strings.TrimSpace(string(runes[:n-1])) + "…"
}

// lines breaks text into lines of at most a width.
func (p *pen) lines(l letters, text string, width float64) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(clean(text)) {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && p.width(l, longer) > width {
			out = append(out, line)
			longer = word
		}
		line = p.fit(l, longer, width)
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

func (p *pen) line(c color.Color, width float64, dashes []float64, pts ...point) {
	if len(pts) < 2 {
		return
	}
	p.style(c, width, dashes)
	p.c.Stroke(path(pts, false))
}

func (p *pen) outline(c color.Color, width float64, dashes []float64, pts ...point) {
	if len(pts) < 3 {
		return
	}
	p.style(c, width, dashes)
	p.c.Stroke(path(pts, true))
}

func (p *pen) fill(c color.Color, pts ...point) {
	if len(pts) < 3 {
		return
	}
	p.c.SetColor(c)
	p.c.Fill(path(pts, true))
}

func (p *pen) style(c color.Color, width float64, dashes []float64) {
	lengths := make([]vg.Length, len(dashes))
	for i, d := range dashes {
		lengths[i] = vg.Length(d)
	}
	p.c.SetColor(c)
	p.c.SetLineWidth(vg.Length(width))
	p.c.SetLineDash(lengths, 0)
}

func path(pts []point, closed bool) vg.Path {
	out := make(vg.Path, 0, len(pts)+1)
	for i, pt := range pts {
		to := vg.Point{X: vg.Length(pt.x), Y: vg.Length(pt.y)}
		if i == 0 {
			out.Move(to)
		} else {
			out.Line(to)
		}
	}
	if closed {
		out.Close()
	}
	return out
}

func rectangle(b box) []point {
	return []point{{b.x0, b.y0}, {b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}}
}

// ruling is which way the lines of a hatched polygon run.
type ruling int

const (
	falling ruling = iota // to the right
	rising                // upright
)

// hatch rules a polygon with lines a distance apart. The lines of all polygons
// on a page lie on one grid.
func (p *pen) hatch(tint color.Color, width, apart float64, lie ruling, pts ...point) {
	if len(pts) < 3 {
		return
	}
	// A line is x + slope·y = c.
	slope := 1.0
	if lie == rising {
		slope = 0
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, pt := range pts {
		c := pt.x + slope*pt.y
		low, high = math.Min(low, c), math.Max(high, c)
	}
	step := apart * math.Hypot(1, slope)
	p.style(tint, width, nil)
	for c := math.Ceil(low/step) * step; c < high; c += step {
		var ys []float64
		for i, a := range pts {
			b := pts[(i+1)%len(pts)]
			ca, cb := a.x+slope*a.y-c, b.x+slope*b.y-c
			if (ca < 0) != (cb < 0) {
				ys = append(ys, a.y+(b.y-a.y)*ca/(ca-cb))
			}
		}
		sort.Float64s(ys)
		for i := 0; i+1 < len(ys); i += 2 {
			p.c.Stroke(path([]point{{c - slope*ys[i], ys[i]}, {c - slope*ys[i+1], ys[i+1]}}, false))
		}
	}
}
