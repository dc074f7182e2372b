package plot

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"path/filepath"
	"strings"
	"time"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// The page is 10 by 7⅓ inches: it lies on A4 and on letter paper, both
// landscape, with a margin that every printer leaves, and at 160 dots to the
// inch it is 1600 pixels wide.
const (
	pageWidth  = 720.0 // points
	pageHeight = 528.0
	pageDPI    = 160
)

// Format returns the picture format that a file's name asks for: "png", "svg"
// or "pdf".
func Format(path string) (string, error) {
	switch ext := strings.ToLower(filepath.Ext(path)); ext {
	case ".png", ".svg", ".pdf":
		return ext[1:], nil
	case "":
		return "", fmt.Errorf("%q does not say what kind of picture to write: end it in .png, .svg or .pdf", path)
	default:
		return "", fmt.Errorf("pictures of kind %q cannot be written: end the name in .png, .svg or .pdf", ext)
	}
}

// about is what a picture says of itself to those who cannot see it.
type about struct {
	title, description string
	date               time.Time // of what it shows
}

// paint has a picture drawn on a page and writes it in a format. Nothing is
// written before the whole picture is there.
func paint(w io.Writer, format string, a about, draw func(*pen)) error {
	a.title, a.description = clean(a.title), clean(a.description)
	var (
		canvas vg.CanvasSizer
		finish func() ([]byte, error)
	)
	switch format {
	case "png":
		c := vgimg.NewWith(vgimg.UseWH(pageWidth, pageHeight), vgimg.UseDPI(pageDPI))
		canvas, finish = c, func() ([]byte, error) { return written(vgimg.PngCanvas{Canvas: c}) }
	case "svg":
		c := &svgCanvas{Canvas: vgsvg.New(pageWidth, pageHeight)}
		canvas, finish = c, func() ([]byte, error) { return c.finish(a) }
	case "pdf":
		c := newPDF(pageWidth, pageHeight, a)
		canvas, finish = c, func() ([]byte, error) { return written(c) }
	default:
		return fmt.Errorf("pictures of kind %q cannot be written: use png, svg or pdf", format)
	}
	draw(newPen(canvas))
	data, err := finish()
	if err != nil {
		return fmt.Errorf("drawing the picture as %s: %w", format, err)
	}
	if _, err := w.Write(data); err != nil {
		return fmt.Errorf("writing the picture: %w", err)
	}
	return nil
}

func written(c io.WriterTo) ([]byte, error) {
	var b bytes.Buffer
	_, err := c.WriteTo(&b)
	return b.Bytes(), err
}

// svgCanvas adds what vgsvg leaves out: a title and a description for those
// who cannot see, fonts to fall back on, and the width of each text, so that a
// viewer without our font still keeps it in its place.
type svgCanvas struct {
	*vgsvg.Canvas
	widths []float64
}

func (c *svgCanvas) FillString(f font.Face, at vg.Point, text string) {
	c.widths = append(c.widths, f.Width(text).Points())
	c.Canvas.FillString(f, at, text)
}

func (c *svgCanvas) finish(a about) ([]byte, error) {
	raw, err := written(c.Canvas)
	if err != nil {
		return nil, err
	}
	head, body, ok := strings.Cut(string(raw), "<svg ")
	if !ok {
		return nil, fmt.Errorf("no <svg> element came out")
	}
	attributes, body, _ := strings.Cut(body, ">")
	var b bytes.Buffer
	// The generator's comment in the head says nothing to anyone.
	head, _, _ = strings.Cut(head, "<!--")
	fmt.Fprintf(&b, "%s<svg role=\"img\" aria-labelledby=\"title desc\" %s>\n", head, attributes)
	fmt.Fprintf(&b, "<title id=\"title\">%s</title>\n<desc id=\"desc\">%s</desc>\n",
		html.EscapeString(a.title), html.EscapeString(a.description))
	b.WriteString("<rect width=\"100%\" height=\"100%\" fill=\"#FFFFFF\"/>")

	// Text is escaped, so "<text " is only ever an element of ours.
	pieces := strings.Split(body, "<text ")
	for i, piece := range pieces {
		if i > 0 {
			fmt.Fprintf(&b, "<text textLength=\"%.5g\" lengthAdjust=\"spacingAndGlyphs\" ", c.widths[i-1])
			piece = strings.Replace(piece, "font-family:Liberation Sans;",
				"font-family:'Liberation Sans',Arial,Helvetica,sans-serif;", 1)
		}
		b.WriteString(piece)
	}
	return b.Bytes(), nil
}
