package plot

import (
	"bytes"
	"flag"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/measure"
)

var update = flag.Bool("update", false, "write the expected rows anew")

func rowsOfText(t *testing.T, s *scan.Survey, o TextOptions) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Rows(&b, s, o))
	return b.String()
}

// Truth: what was looked at and found good; -update writes it anew.
func TestRowsLook(t *testing.T) {
	all := surveys()
	exact := saltmarsh()
	for _, c := range exact.Channels {
		if c.Margin != nil {
			c.Margin.Sigma = 0
		}
	}
	weak := surveyOf("us",
		lotOf{number: 22, presence: measure.Unsure, doubts: []measure.Doubt{measure.DoubtNoClock}},
		lotOf{number: 24, presence: measure.Unsure, doubts: []measure.Doubt{measure.DoubtShape}})
	for i := range weak.Channels {
		switch weak.Channels[i].Channel.Number {
		case 22:
			weak.Channels[i].Margin, weak.Channels[i].CN = est(-9.3, 2), est(5.9, 2)
		case 24:
			weak.Channels[i].Margin = est(4, 0.4)
			weak.Channels[i].LostSamples = true
		}
	}
	for name, c := range map[string]struct {
		s *scan.Survey
		o TextOptions
	}{
		"mixed-ascii":       {saltmarsh(), TextOptions{}},
		"mixed-utf8":        {saltmarsh(), TextOptions{UTF8: true}},
		"mixed-all":         {saltmarsh(), TextOptions{UTF8: true, All: true}},
		"mixed-120":         {saltmarsh(), TextOptions{UTF8: true, Width: 120}},
		"mixed-60":          {saltmarsh(), TextOptions{UTF8: true, Width: 60}},
		"mixed-40":          {saltmarsh(), TextOptions{Width: 40}},
		"mixed-colour":      {saltmarsh(), TextOptions{UTF8: true, Color: true}},
		"mixed-exact":       {exact, TextOptions{UTF8: true}},
		"crowded-ascii":     {crowded(), TextOptions{}},
		"crowded-utf8":      {crowded(), TextOptions{UTF8: true}},
		"vacant":            {all["all vacant"], TextOptions{UTF8: true}},
		"interrupted-ascii": {all["stopped"], TextOptions{}},
		"unsure":            {weak, TextOptions{UTF8: true}},
		"empty":             {&scan.Survey{}, TextOptions{}},
	} {
		t.Run(name, func(t *testing.T) {
			golden(t, filepath.Join("testdata", "rows", name+".txt"), rowsOfText(t, c.s, c.o))
		})
	}
}

// Truth: a terminal's width, every character of ours being one column wide.
func TestRowsKeepTheWidth(t *testing.T) {
	for name, s := range surveys() {
		for w := 40; w <= 200; w += 3 {
			for _, o := range []TextOptions{{Width: w}, {Width: w, UTF8: true}, {Width: w, UTF8: true, All: true}} {
				got := rowsOfText(t, s, o)
				for _, line := range strings.Split(got, "\n") {
					require.LessOrEqual(t, utf8.RuneCountInString(line), w, "%s: %q", name, line)
					require.Equal(t, strings.TrimRight(line, " "), line)
				}
				if !o.UTF8 {
					require.True(t, isASCII(got))
				}
			}
		}
	}
	require.Equal(t, rowsOfText(t, saltmarsh(), TextOptions{Width: 80}), rowsOfText(t, saltmarsh(), TextOptions{}))
	require.NotPanics(t, func() { rowsOfText(t, saltmarsh(), TextOptions{Width: -5}) })
}

func isASCII(s string) bool {
	for i := range len(s) {
		if s[i] > 126 {
			return false
		}
	}
	return true
}

var escape = regexp.MustCompile("\x1b\\[[0-9;]*m")

// Truth: none is needed: colour adds nothing that the text lacks.
func TestRowsReadTheSameWithoutColour(t *testing.T) {
	for _, s := range surveys() {
		plain := rowsOfText(t, s, TextOptions{UTF8: true})
		require.NotContains(t, plain, "\x1b")
		require.Equal(t, plain, escape.ReplaceAllString(rowsOfText(t, s, TextOptions{UTF8: true, Color: true}), ""))
	}
}

// Truth: the design's rule that numbers keep their columns.
func TestNumbersKeepTheirColumns(t *testing.T) {
	s := crowded()
	got := rowsOfText(t, s, TextOptions{UTF8: true})
	n := 0
	for _, line := range strings.Split(got, "\n") {
		r := []rune(line)
		if len(r) < 55 || (r[13+10] != '│') {
			continue
		}
		margin := string(r[42:47])
		require.Regexp(t, `^[ <>]?[+-]? ?\d+(\.\d)? *$`, margin, line)
		if strings.Contains(margin, ".") {
			require.Equal(t, byte('.'), margin[3], line)
		} else {
			require.NotEqual(t, byte(' '), margin[2], line)
			require.Equal(t, "  ", margin[3:], line)
		}
		n++
	}
	require.Equal(t, len(s.Channels), n)
}

// Truth: arithmetic.
func TestBar(t *testing.T) {
	g := gaugeOf(5) // 1.8 dB a cell
	require.Equal(t, 28, g.width())
	utf8, ascii := barGlyphs(true), barGlyphs(false)
	for _, c := range []struct {
		m     value
		guess bool
		ch    glyphs
		want  string
	}{
		{value{0, 0}, false, utf8, "          │▌    ┊           "},
		{value{-0.01, 0}, false, utf8, "         ▐│     ┊           "},
		{value{1.8, 0}, false, utf8, "          │█    ┊           "},
		{value{2.7, 0}, false, utf8, "          │█▌   ┊           "},
		{value{-2.7, 0}, false, utf8, "        ▐█│     ┊           "},
		{value{8.9, 0}, false, utf8, "          │████▌┊           "},
		{value{9, 0}, false, utf8, "          │█████┊           "},
		{value{10.8, 0}, false, utf8, "          │█████┊█          "},
		{value{8.9, 0}, false, ascii, "          |#### :           "},
		{value{9, 0}, false, ascii, "          |#####:           "},
		{value{9, 3.6}, false, utf8, "          │███▒▒┊▒▒         "},
		{value{0, 3.6}, false, utf8, "        ▒▒│▒▒   ┊           "},
		{value{-9, 3.6}, false, utf8, "   ▒▒▒▒███│     ┊           "},
		{value{-9, 3.6}, true, utf8, "   ░░░░░░░│     ┊           "},
		{value{100, 0}, false, ascii, "          |#####:##########>"},
		{value{-100, 0}, false, ascii, "<#########|     :           "},
		{value{0, 1000}, false, ascii, "==========|=====:==========="},
	} {
		require.Equal(t, c.want, string(g.bar(c.m, c.guess, c.ch)), "%v", c.m)
	}
	for w := 1; w < 300; w++ {
		got := newGauge(w)
		require.True(t, got.width() <= w || got == gaugeOf(2))
		require.Len(t, got.empty(ascii), got.width())
		require.GreaterOrEqual(t, got.highDB(), 27.0)
		require.LessOrEqual(t, got.lowDB(), -18.0)
	}
}

// Truth: the grades' edges in package verdict: no figure crosses one.
func TestFiguresStayInTheirGrade(t *testing.T) {
	for _, c := range []struct {
		db          float64
		whole, text string
	}{
		{12.4, "12", "+12  "}, {12.6, "13", "+13  "}, {9, "9", " +9.0"}, {8.96, "8", " +8.9"}, {8.4, "8", " +8.4"},
		{2.96, "2", " +2.9"}, {3, "3", " +3.0"}, {0, "0", " +0.0"}, {-0.04, "−1", " -0.1"}, {-0.4, "−1", " -0.4"},
		{-9.96, "−10", "-10  "}, {9.94, "10", " +9.9"}, {9.96, "10", "+10  "}, {150, "99", ">+99 "}, {-150, "−99", "<-99 "},
	} {
		require.Equal(t, c.whole, wholeDB(c.db), "%v", c.db)
		require.Equal(t, c.text, twoFigures(c.db, true), "%v", c.db)
		require.Len(t, twoFigures(c.db, false), 5)
	}
	for db := -120.0; db < 120; db += 0.013 {
		require.Equal(t, gradeOf(db), gradeOf(roundMargin(db, 0)), "%v", db)
		require.Equal(t, gradeOf(db), gradeOf(roundMargin(db, 1)), "%v", db)
		require.Len(t, twoFigures(db, true), 5, "%v", db)
		whole, err := strconv.Atoi(strings.Replace(wholeDB(db), "−", "-", 1))
		require.NoError(t, err)
		if db > -99 && db < 99 {
			require.InDelta(t, db, whole, 1)
		}
	}
}

// Truth: rounding up, in at most four characters.
func TestHalfWidth(t *testing.T) {
	for _, c := range []struct {
		half  float64
		whole bool
		want  string
	}{{0, false, ""}, {-1, false, ""}, {0.31, false, "±0.4"}, {0.3, false, "±0.3"}, {0.31, true, "±1"}, {9.95, false, "±10"}, {50.2, true, "±51"}, {1e3, false, "±>99"}} {
		require.Equal(t, c.want, halfWidth(c.half, c.whole, "±"), "%v", c.half)
	}
}

// Truth: counting.
func TestRanges(t *testing.T) {
	for want, ns := range map[string][]int{"": nil, "7": {7}, "2-3, 5, 7-9": {2, 3, 5, 7, 8, 9}} {
		require.Equal(t, want, Ranges(ns))
	}
}
