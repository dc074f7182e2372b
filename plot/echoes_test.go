package plot

import (
	"bytes"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// only is a survey of some of its channels.
func only(s *scan.Survey, numbers ...int) *scan.Survey {
	some := *s
	some.Channels = nil
	for _, n := range numbers {
		some.Channels = append(some.Channels, *channelOf(s, n))
	}
	return &some
}

// reverberant has a station with echoes on nearly every channel.
func reverberant() *scan.Survey {
	s := crowded()
	for i := range s.Channels {
		c := &s.Channels[i]
		switch i % 5 {
		case 0:
			withEchoes(c, echoOf{1.41 + float64(i)/10, -4.2}, echoOf{5.2, -9})
		case 1:
			withEchoes(c)
		case 2:
			withEchoes(c, echoOf{-1.2, -2.1}, echoOf{3.1, -5.4}, echoOf{17.6, -11})
		case 3:
			withEchoes(c, echoOf{0.3, -12}, echoOf{3.5, -4}, echoOf{4.4, -6.2}, echoOf{9.5, -15}, echoOf{12.7, -19.4})
		}
	}
	return s
}

// heard are surveys to draw echoes and responses of.
func heard() map[string]*scan.Survey {
	h := harbour()
	many := only(h, 21)
	for us := -4.7; us < 20; us += 0.8 {
		c := &many.Channels[0]
		c.Echoes = append(c.Echoes, measure.Echo{DelayUS: est0(us, 0.05), LevelDB: est0(-14-us/4, 0.6)})
	}
	return map[string]*scan.Survey{
		"harbour": h, "reverberant": reverberant(), "five": only(h, 9, 16, 21, 24, 29), "two": only(h, 9, 26), "thirty echoes": many,
		"early": only(h, 29), "crowded together": only(h, 16), "none": only(h, 12), "another standard": only(h, 26), "weak": only(h, 5),
		"vacant": only(h, 2), "all vacant": surveyOf("us"), "empty": {}, "mixed": saltmarsh(), "in part": parts(),
	}
}

// Truth: our own promise of a page's size, and of the same bytes every time.
func TestEchoPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	h := withSpectrum(harbour(), 20e3)
	for name, draw := range pictures(*channelOf(h, 21)) {
		t.Run(name, func(t *testing.T) {
			for _, format := range []string{"png", "svg", "pdf"} {
				var b, again bytes.Buffer
				require.NoError(t, draw(&b, format, h, Options{}))
				if format != "png" {
					require.NoError(t, draw(&again, format, h, Options{}))
					require.True(t, bytes.Equal(b.Bytes(), again.Bytes()), format)
				}
				require.Less(t, b.Len(), 700_000, format)
				switch format {
				case "png":
					img, err := png.Decode(&b)
					require.NoError(t, err)
					require.Equal(t, 1600, img.Bounds().Dx())
					require.Equal(t, 1173, img.Bounds().Dy())
				case "svg":
					checkSVG(t, name, b.Bytes())
				}
			}
			require.ErrorContains(t, draw(failing{}, "svg", h, Options{}), "no space left")
			require.Error(t, draw(io.Discard, "gif", h, Options{}))
			require.Error(t, draw(io.Discard, "svg", nil, Options{}))
		})
	}
	require.ErrorContains(t, Details(failing{}, *channelOf(h, 21), h, TextOptions{}), "no space left")
	require.Error(t, Details(io.Discard, *channelOf(h, 21), nil, TextOptions{}))
}

// Truth: geometry. No text lies over another, and none leaves the page.
func TestNoTextOverlapsOnEchoPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	o := Options{Title: strings.Repeat("A long title ", 20), ThresholdDB: 15.2}
	for name, s := range heard() {
		t.Run(name, func(t *testing.T) {
			all := lots(s)
			checkLabels(t, drawn(func(p *pen) { drawEchoes(p, s, all, echoRows(all), o) }))
			checkLabels(t, drawn(func(p *pen) { drawResponses(p, s, all, responseRows(all), o) }))
			checkLabels(t, drawn(func(p *pen) { drawSkyline(p, s, all, o) }))
			withSpectrum(s, 50e3)
			for i, c := range all {
				if len(all) < 15 || i%4 == 0 {
					checkLabels(t, drawn(func(p *pen) { drawExplain(p, c, s, o) }))
				}
			}
		})
	}
}

// Truth: geometry: no label lies over an echo's house or the strongest path.
func TestEchoLabelsStandFree(t *testing.T) {
	for name, s := range heard() {
		for _, c := range stations(lots(s)) {
			k := &lane{scale: newScale(), label: letters{size: 7.5, ink: black}, far: &length{"ft", feetPerUS}, box: box{60, 100, 660, 170}, roof: 190}
			p := drawn(func(p *pen) {
				k.pen = p
				missed := k.draw(c)
				if name != "thirty echoes" {
					require.Zero(t, missed, "%s: channel %d", name, c.Channel.Number)
				}
			})
			if noEchoes(c) != "" {
				continue
			}
			for _, l := range p.labels {
				for _, a := range arrivals(c) {
					require.True(t, free(l.box, []box{k.plot(a)}), "%s: channel %d: %q", name, c.Channel.Number, l.text)
				}
			}
		}
	}
}

// Truth: the design: what is there is written, what is not says why.
func TestEchoPicturesSayEverything(t *testing.T) {
	h := withSpectrum(harbour(), 20e3)
	written := func(draw func(*pen)) string {
		var b strings.Builder
		for _, l := range drawn(draw).labels {
			b.WriteString(l.text + "\n")
		}
		return b.String()
	}
	all := lots(h)
	got := written(func(p *pen) { drawEchoes(p, h, all, echoRows(all), Options{}) })
	for _, want := range []string{
		"11 stations: 7 with echoes, 1 without, nothing can be told of 3", "1.4 µs, −4 dB", "9.9 µs, −17 dB", "1.2 µs early, −2 dB",
		"no echo above −20 dB", "no training found: too weak to tell", "ATSC 3.0: without 8-VSB's training nothing can be told",
		"µs", "ft", "m", "15000", "5000",
	} {
		require.Contains(t, got, want+"\n")
	}
	one := only(h, 21)
	got = written(func(p *pen) { drawEchoes(p, one, one.Channels, one.Channels, Options{}) })
	for _, want := range []string{"3.5 µs, −4 dB, 3440 ft", "1720 ft", "3.50 µs", "to the station", "−4.0 ±0.7", "1050"} {
		require.Contains(t, got, want+"\n")
	}
	got = written(func(p *pen) { drawResponses(p, one, one.Channels, one.Channels, Options{}) })
	for _, want := range []string{"tilt −1.0 ±0.5 dB, ripple 28.8 ±0.6 dB", "MER 20.0 ±0.8 dB", "6 MHz"} {
		require.Contains(t, got, want+"\n")
	}
	got = written(func(p *pen) { drawExplain(p, *channelOf(h, 21), h, Options{Title: "x", ThresholdDB: 15.2}) })
	for _, want := range []string{"margin +4.8 ±1.0 dB; limits: echoes", "echoes", "MER at 5 MHz", "dB-Hz", "Spectrum", "What to try, in this order", "try a foot or two sideways, then up"} {
		require.Contains(t, got, want+"\n")
	}
	require.Contains(t, got, "power lines kill")
	got = written(func(p *pen) { drawExplain(p, *channelOf(h, 12), h, Options{}) })
	require.NotContains(t, got, "power lines")
	require.Contains(t, got, "Nothing to mend was found")
}

// Truth: our own promise: whatever the number of stations, each has its street
// or its plot, in RF order, high enough to be read.
func TestEchoColumns(t *testing.T) {
	for n := 1; n <= mostStreets; n++ {
		columns, rows := echoColumns(n)
		require.GreaterOrEqual(t, columns*rows, n)
		require.Less(t, (columns-1)*rows, n, "an empty column of %d", n)
		require.GreaterOrEqual(t, math.Min((streetsTop-streetsBottom)/float64(rows), 116), 28.0)
		k := responseColumns(n)
		require.Less(t, (n-1)/k, k+3)
	}
	s := reverberant()
	seen := map[string]bool{}
	for _, l := range drawn(func(p *pen) { drawEchoes(p, s, lots(s), echoRows(lots(s)), Options{}) }).labels {
		seen[l.text] = true
	}
	for _, c := range s.Channels {
		require.Equal(t, trained(c), seen[fmt.Sprint(c.Channel.Number)], "channel %d", c.Channel.Number)
	}
}

// Truth: geometry. For a wall on its line the way by the wall is longer than
// the straight one by the extra path, exactly for a station infinitely far
// away and within some per cent for one 20 miles off.
func TestReflectorsStandOnTheirLine(t *testing.T) {
	const us, mile = 3.5, 5280.0
	m := reflectorMap{room: box{0, 0, 300, 180}}
	require.Len(t, m.choose([]arrival{{us: value{us, 0.05}, db: value{-4, 1}}}), 1)
	extra := us * feetPerUS
	feet := func(points float64) float64 { return points / m.pointPerU * feetPerUS }
	behind := math.Inf(1)
	for _, pt := range m.parabola(us) {
		x, y := feet(pt.x-m.at.x), feet(pt.y-m.at.y) // the station is at +y
		require.InDelta(t, extra, math.Hypot(x, y)-y, 1e-6*extra)
		station := 20 * mile
		require.InEpsilon(t, extra, math.Hypot(x, station-y)+math.Hypot(x, y)-station, 0.06)
		behind = math.Min(behind, y)
		require.True(t, pt.x >= m.room.x0-1e-9 && pt.x <= m.room.x1+1e-9 && pt.y >= m.room.y0 && pt.y <= m.room.y1+1e-9)
	}
	require.InDelta(t, -extra/2, behind, 1e-6*extra)
}

// Truth: the speed of light in vacuum and the foot, both exact in the SI, as
// package measure has them.
func TestWays(t *testing.T) {
	e := measure.Echo{DelayUS: est0(1.4, 0.05)}
	w := onPaper()
	a := arrival{us: value{1.4, 0.1}}
	require.InDelta(t, e.ExtraFeet(), 1.4*feetPerUS, 1e-9)
	require.InDelta(t, e.ExtraMetres(), 1.4*metrePerUS, 1e-9)
	require.Equal(t, "1380", w.way(a, feetPerUS))
	require.Equal(t, "420", w.way(a, metrePerUS))
	for _, c := range []struct {
		us, half float64
		feet     string
	}{{1.4, 0, "1380"}, {1.4, 0.5, "1400"}, {12.7, 2, "12000"}, {0.15, 0.001, "150"}, {-1.2, 0.1, "−1180"}, {0, 0, "0"}} {
		require.Equal(t, c.feet, w.way(arrival{us: value{c.us, c.half}}, feetPerUS), "%v", c)
	}
}

// Truth: common practice: an uncertainty is written with one figure, with two
// when the first is a 1, and its value to the same place.
func TestFiguresFollowTheirUncertainty(t *testing.T) {
	w := onPaper()
	for _, c := range []struct {
		v, half float64
		most    int
		want    string
	}{
		{4.81, 1, 1, "4.8 ±1.0"}, {4.81, 0.32, 1, "4.8 ±0.4"}, {4.81, 2.1, 1, "5 ±3"}, {4.81, 0, 1, "4.8"}, {-0.02, 0.3, 1, "0.0 ±0.3"},
		{1.406, 0.08, 2, "1.41 ±0.08"}, {-1.406, 0.15, 2, "−1.41 ±0.15"}, {1.406, 0.25, 2, "1.4 ±0.3"}, {3, 1000, 1, "3 ±>999"}, {-0.4, 5, 1, "0 ±5"},
	} {
		require.Equal(t, c.want, w.figure(value{c.v, c.half}, c.most), "%v", c)
	}
}

// Truth: our own rule: with the limit named, the loudest echo and those within
// 3 dB of it; without it none.
func TestBlamedEchoes(t *testing.T) {
	c := *channelOf(harbour(), 21)
	var blamed []float64
	for _, a := range arrivals(c) {
		if a.blamed {
			blamed = append(blamed, a.us.v)
		}
	}
	require.Equal(t, []float64{3.5, 4.4}, blamed)
	c.Reasons = []verdict.Reason{{Limit: verdict.Weak}}
	for _, a := range arrivals(c) {
		require.False(t, a.blamed)
	}
}

// Truth: counting: a response is parted where a slice is missing, and only
// there.
func TestResponseRuns(t *testing.T) {
	var points []sweepPoint
	for hz := 0.0; hz <= band.WidthHz; hz += 50e3 {
		if hz < 2.1e6 || hz > 3.9e6 {
			points = append(points, sweepPoint{hz: hz})
		}
	}
	got := runs(points)
	require.Len(t, got, 2)
	require.Equal(t, len(points), len(got[0])+len(got[1]))
	require.Empty(t, runs(nil))
	require.Len(t, runs(points[:1]), 1)
}

// Truth: what was looked at and found good; -update writes it anew.
func TestDetailsLook(t *testing.T) {
	h := harbour()
	for name, c := range map[string]struct {
		number int
		o      TextOptions
	}{
		"echoes-utf8": {21, TextOptions{UTF8: true}}, "echoes-ascii": {21, TextOptions{}}, "echoes-40": {16, TextOptions{Width: 40}},
		"early-60": {29, TextOptions{UTF8: true, Width: 60}}, "atsc3": {26, TextOptions{}}, "none": {12, TextOptions{UTF8: true}},
		"weak": {5, TextOptions{}}, "vacant": {2, TextOptions{}}, "unsure": {35, TextOptions{}}, "other": {33, TextOptions{}},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			require.NoError(t, Details(&b, *channelOf(h, c.number), h, c.o))
			golden(t, filepath.Join("testdata", "details", name+".txt"), b.String())
		})
	}
	t.Run("rows", func(t *testing.T) {
		golden(t, filepath.Join("testdata", "rows", "standards.txt"), rowsOfText(t, h, TextOptions{UTF8: true}))
	})
}

// golden compares a text with the one on file.
func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o755))
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

// Truth: a terminal's width; ASCII where it was asked for; colour adds nothing.
func TestDetailsKeepTheWidth(t *testing.T) {
	for name, s := range heard() {
		for _, c := range s.Channels[:min(len(s.Channels), 12)] {
			for w := 40; w <= 120; w += 13 {
				for _, o := range []TextOptions{{Width: w}, {Width: w, UTF8: true}} {
					var b, coloured bytes.Buffer
					require.NoError(t, Details(&b, c, s, o))
					for _, line := range strings.Split(b.String(), "\n") {
						require.LessOrEqual(t, utf8.RuneCountInString(line), w, "%s: %q", name, line)
						require.Equal(t, strings.TrimRight(line, " "), line)
					}
					require.True(t, o.UTF8 || isASCII(b.String()))
					o.Color = true
					require.NoError(t, Details(&coloured, c, s, o))
					require.Equal(t, b.String(), escape.ReplaceAllString(coloured.String(), ""))
				}
			}
		}
	}
}

// Truth: arithmetic on the sketch's own scale: 0.5 µs a column, 5 dB a row.
func TestSketch(t *testing.T) {
	list := []arrival{{us: value{v: -2}, db: value{v: -3}}, {us: value{v: 5}, db: value{v: -9}}, {us: value{v: 5.1}, db: value{v: -21}}, {us: value{v: 30}, db: value{v: -18}}}
	got := sketch(list, 56, false, inTerminal(false), "")
	require.Equal(t, []string{
		"  0            #                                        ",
		" -5        a   #                                        ",
		"-10        |   #         b                              ",
		"-15        |   #         |                              ",
		"-20        |   #         |c                            d",
		" dB  +---------+---------+---------+---------+---------+",
		" us  -5        0         5        10        15        20",
		" ft  -4920     0       4920      9840      14750   19670",
	}, got)
}

// Truth: what our own advice says: who is sent up is warned, who is not is not.
func TestCautions(t *testing.T) {
	for advice, want := range map[string]bool{
		"turn the antenna, then try a foot or two sideways and up":              true,
		"a longer antenna or a higher place; no amplifier makes up for so much": true,
		"measure again with less gain, or put an attenuator before the radio":   false,
		"a set with an ATSC 3.0 tuner":                                          false,
	} {
		require.Equal(t, want, len(Cautions([]string{advice})) > 0, advice)
	}
	require.Empty(t, Cautions(nil))
}

// Truth: the design: an ATSC 3.0 station is told from the others in black and
// white: by its house, by its words and by its own count.
func TestOtherStandardsAreTold(t *testing.T) {
	h := harbour()
	require.Contains(t, tally(lots(h)), "1 ATSC 3.0, 1 other")
	seen := map[string]bool{}
	for _, l := range drawn(func(p *pen) { drawSkyline(p, h, lots(h), Options{ThresholdDB: 15.2}) }).labels {
		seen[l.text] = true
	}
	require.True(t, seen["ATSC 3.0"])
	require.True(t, seen["another standard"])
	require.Contains(t, spoken(lots(h)), "channel 26 is ATSC 3.0: a set or tuner without ATSC 3.0 will not show it, whatever the aim")

	// A margin does not make a promise of it.
	c := channelOf(h, 26)
	c.Margin, c.Grade = est(12, 1), verdict.Firm
	require.Equal(t, "ATSC 3.0", word(*c))
	checkLabels(t, drawn(func(p *pen) { drawSkyline(p, h, lots(h), Options{ThresholdDB: 15.2}) }))
	for _, m := range []float64{-30, -8, 0, 29, 60} {
		c.Margin = est(m, 1)
		checkLabels(t, drawn(func(p *pen) { drawSkyline(p, h, lots(h), Options{ThresholdDB: 15.2}) }))
	}
}

func BenchmarkEchoesPNG(b *testing.B) {
	s := reverberant()
	for b.Loop() {
		if err := Echoes(io.Discard, "png", s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkExplainPNG(b *testing.B) {
	s := withSpectrum(harbour(), 10e3)
	for b.Loop() {
		if err := Explain(io.Discard, "png", *channelOf(s, 21), s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// Truth: the speed of light (983.57 ft or 299.79 m in a microsecond): where metres
// are told, distances on the page and in the text are in metres first.
func TestEchoesInMetres(t *testing.T) {
	a := arrival{us: value{v: 1.4}, db: value{v: -6}}
	own, other := lengths(site.Metres)
	require.Contains(t, onPaper().brief(a, &own), ", 420 m")
	require.Equal(t, length{"ft", feetPerUS}, other)
	feet, _ := lengths("")
	require.Contains(t, onPaper().brief(a, &feet), ", 1380 ft")
	require.NotContains(t, onPaper().brief(a, nil), " m")
	sketched := strings.Join(sketch([]arrival{a}, 56, false, inTerminal(false), site.Metres), "\n")
	require.Contains(t, sketched, "\n  m  ")
	require.Contains(t, sketched, "1500")
}
