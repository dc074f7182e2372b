package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// screenOf plays what was written on a small terminal, as ECMA-48 has it for the
// few controls that are used, and returns its lines.
func screenOf(text string) []string {
	lines, row, column := []string{""}, 0, 0
	for len(text) > 0 {
		switch {
		case strings.HasPrefix(text, "\x1b[K"):
			lines[row] = string([]rune(lines[row])[:column])
			text = text[3:]
		case strings.HasPrefix(text, "\x1b[1A"):
			row = max(0, row-1)
			text = text[4:]
		case text[0] == '\r':
			column, text = 0, text[1:]
		case text[0] == '\n':
			if row++; row == len(lines) {
				lines = append(lines, "")
			}
			text = text[1:]
		default:
			r := []rune(text)[0]
			line := []rune(lines[row])
			for len(line) <= column {
				line = append(line, ' ')
			}
			line[column] = r
			lines[row], column, text = string(line), column+1, text[len(string(r)):]
		}
	}
	return lines
}

// Truth: ECMA-48's meaning of the controls: what is typed stays on a line of its
// own, whatever is heard meanwhile, and is handed on when it is entered.
func TestBearingPrompt(t *testing.T) {
	var out bytes.Buffer
	lines := make(chan typedLine, 4)
	stopped := false
	p := &bearingPrompt{out: &out, lines: lines, width: func() int { return 60 }, stop: func() { stopped = true }}
	now := time.Now()
	p.say("channel 17: -3.2 dB", "bearing now: ")
	p.press([]byte("13"), now)
	p.drawn = time.Time{}
	p.say("channel 17: -3.0 dB", "bearing now: ")
	p.press([]byte("4\x7f1"), now)
	require.Equal(t, []string{"channel 17: -3.0 dB", "bearing now: 131"}, screenOf(out.String()))
	p.press([]byte("\x1b[A\r"), now)
	require.Equal(t, typedLine{text: "131", at: now}, <-lines)
	require.Equal(t, []string{"channel 17: -3.0 dB", "bearing now: "}, screenOf(out.String()))

	// A note goes above both.
	p.erase()
	(&console{stderr: rawLines{&out}}).note("131° SE noted")
	p.drawn = time.Time{}
	p.say("channel 17: -2.9 dB", "bearing now: ")
	require.Equal(t, []string{"rooftone: note: 131° SE noted", "channel 17: -2.9 dB", "bearing now: "}, screenOf(out.String()))

	// Too narrow: what is typed is seen all the same.
	p.width = func() int { return 12 }
	p.press([]byte("200"), now)
	require.Equal(t, "w: 200", screenOf(out.String())[2][5:])
	p.press([]byte{0x15, '\r'}, now) // Ctrl-U
	require.Equal(t, typedLine{at: now}, <-lines)
	require.False(t, stopped)
	p.press([]byte{3}, now)
	require.True(t, stopped)
	p.press([]byte{4}, now)
	require.True(t, (<-lines).end)
}
