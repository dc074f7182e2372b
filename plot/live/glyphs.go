package live

import (
	"strings"
)

// glyphRows is the height of the large figures.
const glyphRows = 7

// glyphs are the figures, five dots wide and seven high, drawn for this.
var glyphs = map[rune][glyphRows]string{
	'0': {".###.", "#...#", "#...#", "#...#", "#...#", "#...#", ".###."},
	'1': {"..#..", ".##..", "..#..", "..#..", "..#..", "..#..", ".###."},
	'2': {".###.", "#...#", "....#", "..##.", ".#...", "#....", "#####"},
	'3': {".###.", "#...#", "....#", "..##.", "....#", "#...#", ".###."},
	'4': {"#..#.", "#..#.", "#..#.", "#####", "...#.", "...#.", "...#."},
	'5': {"#####", "#....", "####.", "....#", "....#", "#...#", ".###."},
	'6': {".###.", "#....", "#....", "####.", "#...#", "#...#", ".###."},
	'7': {"#####", "....#", "...#.", "...#.", "..#..", "..#..", "..#.."},
	'8': {".###.", "#...#", "#...#", ".###.", "#...#", "#...#", ".###."},
	'9': {".###.", "#...#", "#...#", ".####", "....#", "....#", ".###."},
	'+': {".....", "..#..", "..#..", "#####", "..#..", "..#..", "....."},
	'-': {".....", ".....", ".....", "#####", ".....", ".....", "....."},
	'.': {"..", "..", "..", "..", "..", "##", "##"},
	' ': {".....", ".....", ".....", ".....", ".....", ".....", "....."},
}

// numberGlyphs is for how many glyphs and a point there is always room, so that
// the figures keep their place.
const numberGlyphs = 4

// number draws the margin as large as the width lets it be.
func (f *frame) number(c Channel) {
	text := figure(c)
	for count(text) < numberGlyphs && text != "-" {
		text = " " + text
	}
	dot := "#"
	if f.UTF8 {
		dot = "█"
	}
	wide := 2
	if f.Width < numberGlyphs*2*6+2*3+4 {
		wide = 1
	}
	for row := range glyphRows {
		var b strings.Builder
		b.WriteString("  ")
		for _, r := range text {
			for _, d := range glyphs[r][row] {
				if d == '#' {
					b.WriteString(strings.Repeat(dot, wide))
				} else {
					b.WriteString(strings.Repeat(" ", wide))
				}
			}
			b.WriteString(strings.Repeat(" ", wide))
		}
		if row == glyphRows-1 {
			b.WriteString(" dB margin")
		}
		f.add("%s", b.String())
	}
}

// count is how many glyphs a text has besides the point.
func count(text string) int { return len(text) - strings.Count(text, ".") }
