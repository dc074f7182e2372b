package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
)

// bearingPrompt is the two lines at the foot of a terminal while an antenna is
// turned by hand: what is heard, and below it what is being typed. Both are drawn
// by us, for a terminal that echoes would put what is typed into the numbers. So
// the keys come as they are pressed, and the lines they make are handed on.
type bearingPrompt struct {
	out   io.Writer
	width func() int
	lines chan<- typedLine
	stop  func() // Ctrl-C

	mutex sync.Mutex
	heard string
	ask   string
	typed []rune
	shown bool
	drawn time.Time
}

// mostTyped is how many characters a line may have.
const mostTyped = 40

// promptOn makes a prompt of a terminal, and returns what gives the terminal
// back. Both are nil where standard input or standard error is none.
func promptOn(c *console, lines chan<- typedLine, stop func()) (p *bearingPrompt, restore func(), err error) {
	in, ok := c.stdin.(*os.File)
	if !ok || !isTerminal(c.stdin) || !isTerminal(c.stderr) || c.env("TERM") == "dumb" {
		return nil, nil, nil
	}
	before, err := term.MakeRaw(int(in.Fd()))
	if err != nil {
		return nil, nil, fmt.Errorf("preparing the terminal: %w", err)
	}
	p = &bearingPrompt{out: c.stderr, lines: lines, stop: stop, width: func() int {
		if w, _, err := term.GetSize(int(c.stderr.(*os.File).Fd())); err == nil && w > 0 {
			return w
		}
		return defaultWidth
	}}
	keys := make(chan []byte, 16)
	go readKeys(in, keys)
	go func() {
		for k := range keys {
			p.press(k, time.Now())
		}
	}()
	return p, func() { p.erase(); term.Restore(int(in.Fd()), before) }, nil
}

// press takes keys.
func (p *bearingPrompt) press(keys []byte, at time.Time) {
	const ctrlC, ctrlD, ctrlU = 3, 4, 21
	for len(keys) > 0 {
		n := keyLength(keys)
		k := keys[:n]
		keys = keys[n:]
		r, _ := utf8.DecodeRune(k)
		p.mutex.Lock()
		var entered *typedLine
		switch {
		case r == ctrlC:
			p.stop()
		case r == ctrlD && len(p.typed) == 0:
			entered = &typedLine{at: at, end: true}
		case r == '\r' || r == '\n':
			entered = &typedLine{text: strings.TrimSpace(string(p.typed)), at: at}
			p.typed = nil
		case r == 0x7f || r == '\b':
			p.typed = p.typed[:max(0, len(p.typed)-1)]
		case r == ctrlU:
			p.typed = nil
		case unicode.IsPrint(r) && len(p.typed) < mostTyped:
			p.typed = append(p.typed, r)
		}
		p.draw()
		p.mutex.Unlock()
		if entered != nil {
			select {
			case p.lines <- *entered:
			default: // nobody types so fast
			}
		}
	}
}

// say shows what is heard, at most ten times a second.
func (p *bearingPrompt) say(heard, ask string) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if time.Since(p.drawn) < 100*time.Millisecond && ask == p.ask {
		return
	}
	p.heard, p.ask, p.drawn = heard, ask, time.Now()
	p.draw()
}

// draw puts both lines where they were; the cursor stays where one types.
func (p *bearingPrompt) draw() {
	var b bytes.Buffer
	if p.shown {
		b.WriteString("\x1b[1A")
	}
	room := max(1, p.width()-1)
	fmt.Fprintf(&b, "\r\x1b[K%s\r\n\x1b[K%s", cut(p.heard, room), tail(p.ask+string(p.typed), room))
	p.shown = true
	p.out.Write(b.Bytes())
}

// erase takes both lines away.
func (p *bearingPrompt) erase() {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if p.shown {
		io.WriteString(p.out, "\r\x1b[K\x1b[1A\r\x1b[K")
		p.shown = false
	}
}

// cut leaves what fits into so many columns.
func cut(s string, columns int) string {
	if r := []rune(s); len(r) > columns {
		return string(r[:columns])
	}
	return s
}

// tail is cut that leaves the end: what was typed.
func tail(s string, columns int) string {
	if r := []rune(s); len(r) > columns {
		return string(r[len(r)-columns:])
	}
	return s
}

// rawLines writes for a terminal that moves down at a line's end and not back.
type rawLines struct{ w io.Writer }

func (r rawLines) Write(b []byte) (int, error) {
	if _, err := r.w.Write(bytes.ReplaceAll(b, []byte("\n"), []byte("\r\n"))); err != nil {
		return 0, err
	}
	return len(b), nil
}
