package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// ascii writes prose without letters beyond ASCII.
var ascii = strings.NewReplacer("−", "-", "×", "x", "±", "+-", "µ", "u", "–", "-", "Ω", "ohm", "°", " deg", "’", "'")

// prose is what is told in lines and in paragraphs that are wrapped.
type prose struct {
	b     bytes.Buffer
	width int
	utf8  bool
}

func newProse(s screen) *prose {
	const widest = 100 // what an eye follows
	return &prose{width: min(s.width, widest), utf8: s.utf8}
}

func (t *prose) line(format string, args ...any) { fmt.Fprintf(&t.b, format+"\n", args...) }

// para writes words after a label, wrapped, with the following lines indented
// as deep.
func (t *prose) para(label, text string) {
	indent := utf8.RuneCountInString(label)
	line, at := label, indent
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if at > indent && at+1+n > t.width {
			t.line("%s", line)
			line, at = strings.Repeat(" ", indent), indent
		}
		if at > indent {
			line, at = line+" ", at+1
		}
		line, at = line+word, at+n
	}
	t.line("%s", line)
}

// writeTo writes all of it.
func (t *prose) writeTo(w io.Writer) error {
	text := t.b.String()
	if !t.utf8 {
		text = ascii.Replace(text)
	}
	_, err := io.WriteString(w, text)
	return err
}
