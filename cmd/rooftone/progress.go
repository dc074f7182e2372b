package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/term"
)

// progress is one line on a terminal that says how far a visit has come and
// is gone afterwards. Anywhere but on a terminal it says nothing.
type progress struct {
	w     io.Writer // nil when there is no one to tell
	last  time.Time
	shown bool
}

func (c *console) newProgress() *progress {
	p := &progress{}
	if isTerminal(c.stderr) && c.env("TERM") != "dumb" {
		p.w = c.stderr
	}
	return p
}

// at is told before every stay. It redraws at most ten times a second: the
// sweep must not wait for a terminal. A total of 0 is not known.
func (p *progress) at(done, total int, centerHz float64) {
	if p.w == nil || time.Since(p.last) < 100*time.Millisecond {
		return
	}
	line := fmt.Sprintf("listening at %.1f MHz", centerHz/1e6)
	if total > 0 {
		line += fmt.Sprintf(", %d %% done", min(100, 100*done/total))
	}
	p.say(line)
}

// say shows a line of progress, at most ten times a second.
func (p *progress) say(line string) {
	if p.w == nil || time.Since(p.last) < 100*time.Millisecond {
		return
	}
	p.last, p.shown = time.Now(), true
	io.WriteString(p.w, "\r\x1b[K"+line)
}

// erase takes the line away.
func (p *progress) erase() {
	if p.shown {
		io.WriteString(p.w, "\r\x1b[K")
		p.shown = false
	}
}

// isTerminal reports whether a stream ends at a terminal.
func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
