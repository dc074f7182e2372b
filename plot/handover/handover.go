// Package handover writes what was learnt at a house as one page: for the customer,
// who wants to know what will be received and what to do, and for a helper far
// away, who wants every figure with its uncertainty.
//
// The page is a single file of HTML. It loads nothing, runs nothing and says so
// in its own content security policy; whatever a house's file says is text on
// it and nothing else. It computes nothing either: places come ranked, channels
// judged.
package handover

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strings"

	"rooftone/plot"
	"rooftone/scan/decide"
	"rooftone/scan/site"
	"rooftone/scan/watch"
)

//go:embed assets
var assets embed.FS

// Page is what the page tells.
type Page struct {
	Places  *plot.Places
	Marks   []site.Mark // all of the house's
	Chosen  *decide.Row // of Places.Ranking; nil: the first
	Program string      // name and version of what writes the page
	File    string      // the house file's name
	Damaged int         // lines of it that could not be used

	Watched *watch.Report // of a watch at this house; or nil

	// Expected are the stations that a list or the house knows, and what became of
	// each.
	Expected []Expected
}

// Expected is a station that was expected.
type Expected struct {
	RFChannel int
	Name      string
	Became    string // in words: whether it was heard, where, and what it lacks
	Missing   bool   // it was looked for, and not heard
}

// Write writes the page.
func Write(w io.Writer, p *Page) error {
	if p == nil || p.Places == nil || len(p.Places.Ranking.Rows) == 0 {
		return errors.New("there is nothing to put on the page: no place was marked")
	}
	sheet, err := build(p)
	if err != nil {
		return err
	}
	style, err := assets.ReadFile("assets/page.css")
	if err != nil {
		return fmt.Errorf("reading the page's style: %w", err)
	}
	sheet.Style = template.CSS(style)
	sheet.Policy = policy(style)
	t, err := template.ParseFS(assets, "assets/page.html")
	if err != nil {
		return fmt.Errorf("reading the page's template: %w", err)
	}
	// Nothing is written before the whole page is there.
	var b bytes.Buffer
	if err := t.Execute(&b, sheet); err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	return nil
}

// policy allows the page its own style and the pictures inside it, and nothing
// else: no script, no request, no form, no frame.
func policy(style []byte) string {
	sum := sha256.Sum256(style)
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; img-src data:; base-uri 'none'; form-action 'none'"
}

// inline draws a picture into an address that holds all of it. As an image an
// SVG can neither run nor load anything, and its names stay its own.
func inline(draw func(io.Writer) error) (template.URL, error) {
	var b strings.Builder
	b.WriteString("data:image/svg+xml;base64,")
	e := base64.NewEncoder(base64.StdEncoding, &b)
	if err := draw(e); err != nil {
		return "", err
	}
	if err := e.Close(); err != nil {
		return "", fmt.Errorf("encoding a picture: %w", err)
	}
	return template.URL(b.String()), nil
}
