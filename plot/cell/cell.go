// Package cell counts in the cells of a terminal, of which a character may take
// none, one or two.
package cell

import (
	"strings"

	"github.com/rivo/uniseg"
)

// Width is how many cells a text takes.
func Width(text string) int { return uniseg.StringWidth(text) }

// Cut returns as much of a text's beginning as so many cells hold, and never half
// a character.
func Cut(text string, cells int) string {
	state, n, rest, kept := -1, 0, text, 0
	for len(rest) > 0 {
		var cluster string
		var width int
		cluster, rest, width, state = uniseg.FirstGraphemeClusterInString(rest, state)
		if n += width; n > cells {
			break
		}
		kept += len(cluster)
	}
	return text[:kept]
}

// Fit is Cut, with dots for what is left out, where there is room for them.
func Fit(text string, cells int, dots string) string {
	if Width(text) <= cells {
		return text
	}
	if w := Width(dots); w < cells {
		return strings.TrimRight(Cut(text, cells-w), " ") + dots
	}
	return Cut(text, cells)
}

// Tail returns the end of a text that so many cells hold.
func Tail(text string, cells int) string {
	for Width(text) > cells {
		_, rest, _, _ := uniseg.FirstGraphemeClusterInString(text, -1)
		text = rest
	}
	return text
}

// Pad fills a text up to so many cells; one that is longer it leaves as it is.
func Pad(text string, cells int) string {
	return text + strings.Repeat(" ", max(0, cells-Width(text)))
}

// Wrap breaks a text at its spaces into lines of so many cells; a word that is
// longer than a line is broken.
func Wrap(text string, cells int) []string {
	cells = max(1, cells)
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && Width(line)+1+Width(word) > cells {
			lines, line = append(lines, line), ""
		}
		for Width(word) > cells {
			head := Cut(word, cells)
			if head == "" {
				break // a wide character and a single cell
			}
			lines, word = append(lines, head), word[len(head):]
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}
