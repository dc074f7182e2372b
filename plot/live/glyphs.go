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

// mostScale is how large the figures are at the most, in lines for each of their dots.
const mostScale = 3

// number draws what is followed, scale lines high and twice as many cells wide for
// each dot.
func (f *frame) number(c Channel, scale int) {
	text := figure(c)
	for count(text) < numberGlyphs && text != "-" {
		text = " " + text
	}
	dot := "#"
	if f.UTF8 {
		dot = "█"
	}
	wide := 2 * scale
	if f.Width < numberWidth(1) {
		wide = 1
	}
	for row := range glyphRows * scale {
		var b strings.Builder
		b.WriteString("  ")
		for _, r := range text {
			for _, d := range glyphs[r][row/scale] {
				if d == '#' {
					b.WriteString(strings.Repeat(dot, wide))
				} else {
					b.WriteString(strings.Repeat(" ", wide))
				}
			}
			b.WriteString(strings.Repeat(" ", wide))
		}
		if row == glyphRows*scale-1 && f.beside(c, wide) {
			b.WriteString(" " + unit(c))
		}
		f.add("%s", b.String())
	}
	if f.beside(c, wide) {
		f.add("")
	} else {
		f.add("  %s", unit(c))
	}
}

// numberWidth is how wide the figures are without their unit: of each glyph five
// dots and a gap, of the point two and a gap.
func numberWidth(scale int) int { return 2 + 2*scale*(numberGlyphs*6+3) }

// beside reports whether the unit has room beside figures with dots so wide.
func (f *frame) beside(c Channel, wide int) bool {
	return 2+wide*(numberGlyphs*6+3)+1+len(unit(c)) <= f.Width
}

// scale is how large the figures can be where that leaves so many lines of the
// screen to the rest; 0 is a line of text.
func (f *frame) scale(rest int) int {
	if f.Height < glyphRows+rest {
		return 0
	}
	for s := mostScale; s > 1; s-- {
		const trace = 9 // lines that larger figures must leave to the trace
		if f.Width >= numberWidth(s) && f.Height >= s*glyphRows+rest+trace {
			return s
		}
	}
	return 1
}

// count is how many glyphs a text has besides the point.
func count(text string) int { return len(text) - strings.Count(text, ".") }
