package plot

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strconv"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// pdfCanvas is a vg.Canvas that writes one page of PDF. vgpdf embeds one font
// only, whole and in an encoding without a minus; this one embeds what is used
// of each, keeps the text readable to machines, and says what the page is.
// The same drawing makes the same bytes.
type pdfCanvas struct {
	doc    *fpdf.Fpdf
	w, h   float64
	stack  []affine
	fonts  map[string]bool
	images int
}

// affine maps a drawing's coordinates to the page's, both with y upwards:
// x' = a·x + c·y + e, y' = b·x + d·y + f.
type affine struct{ a, b, c, d, e, f float64 }

func (m affine) apply(p vg.Point) (x, y float64) {
	px, py := p.X.Points(), p.Y.Points()
	return m.a*px + m.c*py + m.e, m.b*px + m.d*py + m.f
}

// size is by how much lengths grow.
func (m affine) size() float64 { return math.Sqrt(math.Abs(m.a*m.d - m.b*m.c)) }

func newPDF(w, h float64, a about) *pdfCanvas {
	c := &pdfCanvas{
		doc:   fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: w, Ht: h}}),
		w:     w,
		h:     h,
		stack: []affine{{a: 1, d: 1}},
		fonts: map[string]bool{},
	}
	c.doc.SetTitle(a.title, true)
	c.doc.SetSubject(a.description, true)
	c.doc.SetLang("en")
	c.doc.SetCreationDate(time.Unix(0, 0).UTC())
	c.doc.SetModificationDate(time.Unix(0, 0).UTC())
	if !a.date.IsZero() {
		c.doc.SetCreationDate(a.date)
		c.doc.SetModificationDate(a.date)
	}
	c.doc.SetCatalogSort(true)
	c.doc.SetAutoPageBreak(false, 0)
	c.doc.SetMargins(0, 0, 0)
	c.doc.AddPage()
	vg.Initialize(c)
	return c
}

func (c *pdfCanvas) at() *affine { return &c.stack[len(c.stack)-1] }

// page returns a point in fpdf's coordinates, whose y runs down.
func (c *pdfCanvas) page(p vg.Point) (x, y float64) {
	x, y = c.at().apply(p)
	return x, c.h - y
}

func (c *pdfCanvas) Size() (w, h vg.Length) { return vg.Length(c.w), vg.Length(c.h) }

func (c *pdfCanvas) SetLineWidth(w vg.Length) { c.doc.SetLineWidth(w.Points() * c.at().size()) }

func (c *pdfCanvas) SetLineDash(dashes []vg.Length, offset vg.Length) {
	lengths := make([]float64, len(dashes))
	for i, d := range dashes {
		lengths[i] = d.Points() * c.at().size()
	}
	c.doc.SetDashPattern(lengths, offset.Points()*c.at().size())
}

func (c *pdfCanvas) SetColor(tint color.Color) {
	if tint == nil {
		tint = color.Black
	}
	r, g, b, _ := tint.RGBA()
	c.doc.SetDrawColor(int(r>>8), int(g>>8), int(b>>8))
	c.doc.SetFillColor(int(r>>8), int(g>>8), int(b>>8))
	c.doc.SetTextColor(int(r>>8), int(g>>8), int(b>>8))
}

func (c *pdfCanvas) Rotate(rad float64) {
	m, sin, cos := *c.at(), math.Sin(rad), math.Cos(rad)
	*c.at() = affine{m.a*cos + m.c*sin, m.b*cos + m.d*sin, m.c*cos - m.a*sin, m.d*cos - m.b*sin, m.e, m.f}
}

func (c *pdfCanvas) Translate(p vg.Point) {
	m := c.at()
	m.e, m.f = m.apply(p)
}

func (c *pdfCanvas) Scale(x, y float64) {
	m := c.at()
	m.a, m.b, m.c, m.d = m.a*x, m.b*x, m.c*y, m.d*y
}

func (c *pdfCanvas) Push() { c.stack = append(c.stack, *c.at()) }
func (c *pdfCanvas) Pop()  { c.stack = c.stack[:len(c.stack)-1] }

func (c *pdfCanvas) Stroke(p vg.Path) { c.path(p, "D") }
func (c *pdfCanvas) Fill(p vg.Path)   { c.path(p, "F") }

func (c *pdfCanvas) path(p vg.Path, how string) {
	for _, comp := range p {
		switch comp.Type {
		case vg.MoveComp:
			c.doc.MoveTo(c.page(comp.Pos))
		case vg.LineComp:
			c.doc.LineTo(c.page(comp.Pos))
		case vg.ArcComp:
			c.arc(comp)
		case vg.CurveComp:
			x, y := c.page(comp.Pos)
			x0, y0 := c.page(comp.Control[0])
			if len(comp.Control) == 1 {
				c.doc.CurveTo(x0, y0, x, y)
				continue
			}
			x1, y1 := c.page(comp.Control[1])
			c.doc.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
		case vg.CloseComp:
			c.doc.ClosePath()
		}
	}
	c.doc.DrawPath(how)
}

// arc draws a circle's arc as short straight lines, from a hair's breadth of
// it.
func (c *pdfCanvas) arc(comp vg.PathComp) {
	n := 1 + int(math.Ceil(math.Abs(comp.Angle)/(2*math.Pi)*72))
	for i := 0; i <= n; i++ {
		sin, cos := math.Sincos(comp.Start + comp.Angle*float64(i)/float64(n))
		c.doc.LineTo(c.page(vg.Point{
			X: comp.Pos.X + comp.Radius*vg.Length(cos),
			Y: comp.Pos.Y + comp.Radius*vg.Length(sin),
		}))
	}
}

func (c *pdfCanvas) FillString(f font.Face, p vg.Point, text string) {
	if f.Font.Size == 0 {
		return
	}
	name := f.Name()
	if !c.fonts[name] {
		var raw bytes.Buffer
		if _, err := f.Face.WriteSourceTo(nil, &raw); err != nil {
			c.doc.SetError(fmt.Errorf("reading font %s: %w", name, err))
			return
		}
		c.doc.AddUTF8FontFromBytes(name, "", raw.Bytes())
		c.fonts[name] = true
	}
	m := *c.at()
	c.doc.SetFont(name, "", f.Font.Size.Points()*m.size())
	x, y := c.page(p)
	turn := math.Atan2(m.b, m.a) * 180 / math.Pi
	if turn == 0 {
		c.doc.Text(x, y, inFont(f, text))
		return
	}
	c.doc.TransformBegin()
	c.doc.TransformRotate(turn, x, y)
	c.doc.Text(x, y, inFont(f, text))
	c.doc.TransformEnd()
}

// inFont puts a question mark for what the font lacks.
func inFont(f font.Face, text string) string {
	var buf sfnt.Buffer
	out := []rune(text)
	for i, r := range out {
		if g, err := f.Face.GlyphIndex(&buf, r); err != nil || g == 0 || r > math.MaxUint16 {
			out[i] = '?'
		}
	}
	return string(out)
}

func (c *pdfCanvas) DrawImage(rect vg.Rectangle, img image.Image) {
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		c.doc.SetError(fmt.Errorf("encoding an image: %w", err))
		return
	}
	c.images++
	name, kind := "image"+strconv.Itoa(c.images), fpdf.ImageOptions{ImageType: "png"}
	c.doc.RegisterImageOptionsReader(name, kind, &b)
	x0, y0 := c.page(vg.Point{X: rect.Min.X, Y: rect.Max.Y})
	x1, y1 := c.page(vg.Point{X: rect.Max.X, Y: rect.Min.Y})
	c.doc.ImageOptions(name, x0, y0, x1-x0, y1-y0, false, kind, 0, "")
}

// WriteTo ends the document.
func (c *pdfCanvas) WriteTo(w io.Writer) (int64, error) {
	var b bytes.Buffer
	if err := c.doc.Output(&b); err != nil {
		return 0, err
	}
	return b.WriteTo(w)
}
