package main

// How rooftone speaks.
//
//   - Standard output carries what was asked for and nothing else, so that it
//     can be piped anywhere.
//   - Standard error carries, each on a line of its own,
//     rooftone: error: what went wrong
//     rooftone: hint: what to do about it
//     rooftone: note: what one should know though nothing went wrong
//   - A line is lower case and has no full stop. An error says what was being
//     done and to what; a hint can be typed or acted upon as it stands.
//   - At most one error and one hint end a run. A note may have a hint too.
//   - A file that was asked for is named in a note once it is written, and where it
//     took the place of another the note says so: outfile.go has the rule.
//   - What was measured is never said here, and no line of progress stays.
//
// The functions below obey; nothing else in this package writes to standard
// error, but for the line of progress and the overview shown when no command
// is given.

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"

	"rooftone/plot/cell"
	"rooftone/scan/tuner"
)

// console is the part of the world that a command may speak to.
type console struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	env            func(string) string
}

// complain writes the error and its hint, if it has one.
func (c *console) complain(err error) {
	fmt.Fprintf(c.stderr, "rooftone: error: %s\n", oneLine(err.Error()))
	c.hint(hintOf(err))
}

// hint gives advice, or says nothing when there is none.
func (c *console) hint(advice string) {
	if advice != "" {
		fmt.Fprintf(c.stderr, "rooftone: hint: %s\n", oneLine(advice))
	}
}

// note says something worth knowing.
func (c *console) note(format string, args ...any) {
	const lead, indent = "rooftone: note: ", "    "
	text := lead + oneLine(fmt.Sprintf(format, args...))
	if width := c.stderrWidth(); width > 0 && cell.Width(text) > width {
		// A terminal would break it in the middle of a word.
		lines := cell.Wrap(text, width-len(indent))
		text = strings.Join(lines, "\n"+indent)
	}
	fmt.Fprintln(c.stderr, text)
}

// interrupted says that the user ended a command early, and returns the error
// for it.
func (c *console) interrupted() error {
	c.note("interrupted: only what was measured by then is shown")
	return errInterrupted
}

// oneLine keeps text from leaving its line or reaching the terminal's
// controls, whatever a file's name or a server's answer holds.
func oneLine(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case unicode.IsControl(r):
			return unicode.ReplacementChar
		}
		return r
	}, s)
	return strings.TrimRight(s, " .")
}

// quote writes what a person typed so that its ends can be seen.
func quote(s string) string { return strconv.Quote(s) }

// errInterrupted ends a command that the user stopped. What had to be said
// has been said.
var errInterrupted = errors.New("interrupted")

// usageError is a request that makes no sense; nothing has been done about it.
type usageError struct{ err error }

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

// usagef makes a usageError as fmt.Errorf makes an error.
func usagef(format string, args ...any) *usageError {
	return &usageError{fmt.Errorf(format, args...)}
}

// hint returns the error with advice.
func (e *usageError) hint(format string, args ...any) error {
	return withHint(e, format, args...)
}

// hinted is an error with advice.
type hinted struct {
	error
	advice string
}

func (e *hinted) Unwrap() error { return e.error }

func withHint(err error, format string, args ...any) error {
	return &hinted{err, fmt.Sprintf(format, args...)}
}

// hintOf returns the advice that an error of ours or a tuner's carries, ""
// when there is none. Ours, which knows what was being done, comes first.
func hintOf(err error) string {
	if h := (*hinted)(nil); errors.As(err, &h) {
		return h.advice
	}
	if p := (*tuner.Problem)(nil); errors.As(err, &p) {
		return p.Hint
	}
	return ""
}
