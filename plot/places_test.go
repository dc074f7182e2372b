package plot

import (
	"bytes"
	"fmt"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// tried is a mark: channel → margin; NaN is a channel that is not there.
type tried struct {
	place   string
	bearing float64 // negative: none
	height  float64 // 0: none
	margins map[int]float64
}

// placesOf ranks invented marks.
func placesOf(name string, wanted []site.Want, marks ...tried) *Places {
	day := time.Date(2026, 3, 5, 9, 0, 0, 0, time.UTC)
	var list []site.Mark
	for i, m := range marks {
		mark := site.Mark{Time: day.Add(time.Duration(i) * time.Minute), Place: m.place}
		if m.bearing >= 0 {
			mark.BearingDeg = &marks[i].bearing
		}
		if m.height != 0 {
			mark.HeightM = &marks[i].height
		}
		for _, w := range wanted {
			v, ok := m.margins[w.RFChannel]
			switch {
			case !ok:
			case math.IsNaN(v):
				mark.Heard = append(mark.Heard, site.Heard{RFChannel: w.RFChannel, Presence: measure.Vacant})
			default:
				mark.Heard = append(mark.Heard, site.Heard{RFChannel: w.RFChannel, Presence: measure.Present, Grade: gradeOf(v), Margin: est(v, 0.3)})
			}
		}
		list = append(list, mark)
	}
	o := site.DefaultOptions()
	spots := site.Spots(list, o)
	p := &Places{House: name, Wanted: wanted, Ranking: *decide.Rank(spots, nil, wanted, o), Labels: map[int]string{}, Towards: map[int][]float64{}, Beams: map[int]Beam{}}
	p.Since = day.Add(2 * time.Minute)
	p.Changes, p.Visited = site.Changes(list, p.Since, o)
	return p
}

func wants(numbers ...int) (out []site.Want) {
	for _, n := range numbers {
		out = append(out, site.Want{RFChannel: n, Importance: 1})
	}
	return out
}

// mill is an invented house with one of everything.
func mill() *Places {
	nan := math.NaN()
	p := placesOf("Mill Lane 4", wants(7, 13, 22, 27, 36),
		tried{"chimney", 135, 7.2, map[int]float64{7: 14.2, 13: 9.6, 22: 4.8, 27: -3, 36: nan}},
		tried{"chimney", 135, 7.2, map[int]float64{7: 14.6, 13: 10.1, 22: 5.2, 27: -2.4, 36: nan}},
		tried{"chimney", 90, 7.2, map[int]float64{7: 11, 13: 6, 22: -8.7, 27: -19, 36: nan}},
		tried{"chimney", 180, 7.2, map[int]float64{7: 11.8, 13: 7, 22: 1, 27: -11, 36: nan}},
		tried{"chimney", 250, 7.2, map[int]float64{7: -2, 13: -0.2, 22: -12, 27: 12}},
		tried{"attic, behind the water tank on the west side", 135, 0, map[int]float64{7: 13.9, 13: 9.9, 22: 4.9, 27: -2.7, 36: nan}},
		tried{"gable", -1, 5, map[int]float64{7: 31, 13: nan, 22: -40}},
	)
	p.Labels[7], p.Labels[22] = "North Hill", "The Bluff at Eastcote and Wharf"
	p.Wanted[3].Importance, p.Wanted[1].Importance = 0, 3
	p.Towards[22] = []float64{128, 90}
	p.Beams[22] = Beam{Heading: *est(141, 2.2), Width: est(63, 5)}
	p.Beams[7] = Beam{Heading: *est(359, 2.2)}
	return p
}

// manyPlaces has more of everything than a page.
func manyPlaces(places, channels int) *Places {
	var numbers []int
	for n := range channels {
		numbers = append(numbers, n+2)
	}
	var marks []tried
	for i := range places {
		m := tried{fmt.Sprintf("place %d", i/8), float64(i % 8 * 45), 0, map[int]float64{}}
		for _, n := range numbers {
			m.margins[n] = float64((i*7+n*13)%60) - 25
		}
		marks = append(marks, m)
	}
	p := placesOf("Long Row", wants(numbers...), marks...)
	for _, n := range numbers {
		p.Labels[n] = fmt.Sprintf("Station %d of the Plain", n)
	}
	return p
}

func houses() map[string]*Places {
	return map[string]*Places{
		"mill": mill(), "one": placesOf("h", wants(22), tried{"roof", 10, 0, map[int]float64{22: 12}}),
		"many": manyPlaces(60, 50), "wide": manyPlaces(3, 35), "tall": manyPlaces(26, 2), "twelve": manyPlaces(8, 12),
		"no bearings": placesOf("h", wants(22, 23), tried{"roof", -1, 0, map[int]float64{22: 12}}, tried{"attic", -1, 0, map[int]float64{22: -12}}),
		"nothing":     placesOf("h", wants(22)),
		"strange":     placesOf("h", wants(22, 23, 24), tried{"\x1b[2J<b>", 359.9, 0, map[int]float64{22: 1e9, 23: -1e9, 24: math.Inf(1)}}),
	}
}

// Truth: geometry. No text lies over another, and none leaves the page.
func TestNoTextOverlapsOnPlacePictures(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for name, p := range houses() {
		t.Run(name, func(t *testing.T) {
			o := Options{Title: strings.Repeat("A long title ", 20)}
			checkLabels(t, drawn(func(pn *pen) { drawGrid(pn, p, o) }))
			place, rows := p.Turned()
			checkLabels(t, drawn(func(pn *pen) {
				(&rose{pen: pn, scale: newScale(), places: p, rows: rows}).draw(o, place)
			}))
		})
	}
}

// Truth: our own promise of a page's size; XML; the same bytes every time.
func TestPlacePictures(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for name, draw := range map[string]func(io.Writer, string, *Places, Options) error{"grid": Grid, "rose": Rose} {
		for house, p := range houses() {
			var b, again bytes.Buffer
			require.NoError(t, draw(&b, "svg", p, Options{}), house)
			require.NoError(t, wellFormed(b.Bytes()), house)
			require.NoError(t, draw(&again, "svg", p, Options{}))
			require.True(t, bytes.Equal(b.Bytes(), again.Bytes()), "%s of %s", name, house)
		}
		var b bytes.Buffer
		require.NoError(t, draw(&b, "png", mill(), Options{}))
		img, err := png.Decode(&b)
		require.NoError(t, err)
		require.Equal(t, 1600, img.Bounds().Dx())
		b.Reset()
		require.NoError(t, draw(&b, "pdf", mill(), Options{}))
		require.True(t, bytes.HasPrefix(b.Bytes(), []byte("%PDF-")))
		require.Error(t, draw(io.Discard, "svg", nil, Options{}))
		require.Error(t, draw(io.Discard, "gif", mill(), Options{}))
		require.ErrorContains(t, draw(failing{}, "png", mill(), Options{}), "no space left")
	}
}

// Truth: the numbers that went in: every margin of the grid is written, and
// what the ranking says is said in words, not by colour.
func TestGridSaysEverything(t *testing.T) {
	p := mill()
	seen := map[string]int{}
	for _, l := range drawn(func(pn *pen) { drawGrid(pn, p, Options{Title: "x"}) }).labels {
		seen[l.text]++
	}
	for _, want := range []string{"14", "5", "\u221240", "\u221212", "12", "31", "1=", "equal", "North Hill", "36", "13 \u00d73", "not measured"} {
		require.Positive(t, seen[want], "%q is not on the picture", want)
	}
	require.Contains(t, p.spoken(), "and equal: chimney, 135\u00b0 SE, 7.2 m")
	require.Contains(t, p.spoken(), "No place gives channel 36"[3:])
	var b bytes.Buffer
	require.NoError(t, Grid(&b, "svg", p, Options{}))
	require.Contains(t, b.String(), "channel 22 -40 dB")
}

// Truth: trigonometry: 90° is to the right of the middle and 0° above it, and a
// house is farther out the more margin it has.
func TestRoseTurnsClockwise(t *testing.T) {
	r := &rose{middle: point{100, 100}, radius: 50, topDB: 20}
	require.InDelta(t, 150, r.at(90, 50).x, 1e-9)
	require.InDelta(t, 150, r.at(0, 50).y, 1e-9)
	require.InDelta(t, 50, r.at(270, 50).x, 1e-9)
	require.InDelta(t, 25, r.height(0), 1e-9)
	require.InDelta(t, 50, r.height(20), 1e-9)
	require.InDelta(t, 50, r.height(40), 1e-9)
	last := -1.0
	for db := -20.0; db <= 20; db++ {
		require.Greater(t, r.height(db), last)
		last = r.height(db)
	}
	place, rows := mill().Turned()
	require.Equal(t, "chimney, 7.2 m", place)
	require.Len(t, rows, 4)
	for i := 1; i < len(rows); i++ {
		require.Less(t, *rows[i-1].Spot.BearingDeg, *rows[i].Spot.BearingDeg)
	}
}

// Truth: a terminal's width; ASCII where it was asked for.
func TestPlaceRowsKeepTheWidth(t *testing.T) {
	for name, p := range houses() {
		for w := 40; w <= 120; w += 16 {
			for _, o := range []TextOptions{{Width: w}, {Width: w, UTF8: true}} {
				var b bytes.Buffer
				require.NoError(t, PlaceRows(&b, p, o))
				for _, line := range strings.Split(b.String(), "\n") {
					require.LessOrEqual(t, utf8.RuneCountInString(line), w, "%s: %q", name, line)
					require.Equal(t, strings.TrimRight(line, " "), line)
				}
				require.True(t, o.UTF8 || isASCII(b.String()), name)
			}
		}
	}
	require.Error(t, PlaceRows(io.Discard, nil, TextOptions{}))
}

// Truth: what was looked at and found good; -update writes it anew.
func TestPlaceRowsLook(t *testing.T) {
	for name, o := range map[string]TextOptions{"utf8": {UTF8: true}, "ascii-40": {Width: 40}} {
		var b bytes.Buffer
		require.NoError(t, PlaceRows(&b, mill(), o))
		golden(t, "testdata/places/"+name+".txt", b.String())
	}
}
