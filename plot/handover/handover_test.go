package handover

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/plot"
	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
	"rooftone/scan/watch"
)

var noon = time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

func estimate(v float64) *measure.Estimate { return &measure.Estimate{Value: v, Sigma: 0.2} }

// heard is a channel with a margin, judged as its margin alone says.
func heard(rf int, marginDB float64) site.Heard {
	h := site.Heard{
		RFChannel: rf, Presence: measure.Present, Standard: measure.ATSC1, Grade: verdict.GradeOf(marginDB),
		Margin: estimate(marginDB), MarginMethod: measure.MarginEqualised, CN: estimate(marginDB + 15.2),
		MER: estimate(marginDB + 15.4), Power: estimate(-20), GainDB: ptr(40.0),
	}
	if h.Grade != verdict.Firm {
		h.Limits, h.Evidence = []verdict.Limit{verdict.Weak}, []string{"C/N 18 dB, only 3 dB to spare"}
		h.Advice = []string{"turn the antenna, then try a foot or two sideways and up"}
	}
	return h
}

// house is a small house; text stands wherever a person may write.
func house(t testing.TB, text string) *Page {
	marks := []site.Mark{
		{Time: noon, Place: "gable" + text, BearingDeg: ptr(131.0), HeightM: ptr(7.0), Note: "tripod" + text, Source: "sim:town" + text,
			Program: "rooftone" + text, ThresholdDB: 15.2, Clock: estimate(12.8),
			Heard: []site.Heard{heard(8, 11.6), heard(17, -3.4), heard(21, 4.5), {RFChannel: 35, Presence: measure.Vacant}}},
		{Time: noon.Add(time.Hour), Place: "gable" + text, BearingDeg: ptr(268.0), HeightM: ptr(7.0), ThresholdDB: 15.2,
			Heard: []site.Heard{heard(8, -5.3), heard(17, 13.5), heard(21, -2.5), {RFChannel: 35, Presence: measure.Vacant}}},
		{Time: noon.Add(90 * time.Minute), Place: "gable" + text, BearingDeg: ptr(20.0), HeightM: ptr(7.0), ThresholdDB: 15.2,
			Heard: []site.Heard{heard(8, -8), heard(17, -3), heard(21, -4), {RFChannel: 35, Presence: measure.Vacant}}},
		{Time: noon.Add(2 * time.Hour), Place: "attic" + text, BearingDeg: ptr(20.0), ThresholdDB: 15.2, Interrupted: true,
			Heard: []site.Heard{heard(8, 1.2)}},
	}
	marks[0].Heard[2].Evidence[0] += text
	marks[0].Heard[2].Advice[0] += text
	marks[0].Heard[2].Limits = append(marks[0].Heard[2].Limits, verdict.Limit("odd"+text))
	marks[1].Heard[1].Echoes = []measure.Echo{{DelayUS: measure.Estimate{Value: 0.9, Sigma: 0.01}, LevelDB: *estimate(-11.3)}}
	wanted := []site.Want{{RFChannel: 8, Importance: 1}, {RFChannel: 17, Importance: 1}, {RFChannel: 21, Importance: 2}, {RFChannel: 35, Importance: 1}}
	o := site.DefaultOptions()
	spots := site.Spots(marks, o)
	p := &plot.Places{
		House: "Orchard Farm" + text, Wanted: wanted, Ranking: *decide.Rank(spots, nil, wanted, o),
		Labels: map[int]string{8: "Tollen A" + text, 17: "Brack" + text},
	}
	return &Page{
		Places: p, Marks: marks, Program: "rooftone 1" + text, File: "house.jsonl" + text, Damaged: 1,
		Watched: watched(t, text),
	}
}

// watched is an afternoon's watch.
func watched(t testing.TB, text string) *watch.Report {
	path := filepath.Join(t.TempDir(), "roof.watch")
	w, err := watch.Open(path, watch.Settings{Every: time.Minute, RFChannels: []int{8, 17}, Source: "sim:town" + text}, noon)
	require.NoError(t, err)
	for i := range 60 {
		since := time.Duration(i) * time.Minute
		require.NoError(t, w.Add(watch.Tick{Time: noon.Add(since), Since: since, Readings: []watch.Reading{
			{RFChannel: 8, MarginDB: ptr(11 + 0.1*float64(i%3))}, {RFChannel: 17, MarginDB: ptr(-3.0)},
		}}))
	}
	require.NoError(t, w.Close(noon.Add(time.Hour)))
	l, err := watch.Read(path)
	require.NoError(t, err)
	r := watch.Conclude(l)
	r.Findings = append(r.Findings, watch.Finding{Text: "it held" + text, Next: "sleep" + text})
	return r
}

func write(t testing.TB, p *Page) string {
	var b bytes.Buffer
	require.NoError(t, Write(&b, p))
	return b.String()
}

// Truth: what the house's file says, in the words that the README gives the
// grades, and the promise that every figure has its interval.
func TestPage(t *testing.T) {
	page := write(t, house(t, ""))
	for _, want := range []string{
		"<h1>Television at Orchard Farm</h1>",
		"gable, antenna pointing 131° (south-east), 7 m up",
		"Will hold: channel 8 (Tollen A)",
		"Works, little to spare: channel 21",
		"No picture: channel 17 (Brack)",
		"Not on the air here: channel 35",
		"Two antennas, one at gable, antenna pointing 131° (south-east), 7 m up and one at gable, antenna pointing 268° (west), 7 m up,",
		"To join them: a set with two antenna inputs, or an A/B switch",
		"A combiner takes about 3.5\u00a0dB of each (common practice)",
		"This place against the next", "<td>&#43;11.6\u00a0dB, holds with 98\u00a0%</td>",
		"The best place gives up channel 17, -3.4\u00a0dB: &#43;14\u00a0dB at gable, 268°",
		"No place that was tried gives a picture on channel 35.",
		"No place that was tried gives enough to spare on channel 21.",
		// 1.96·√(0.2² + 1²) = 2.0
		"<b>&#43;11.6</b> ±2.0 dB",
		"Better at gable, antenna pointing 268° (west), 7 m up: &#43;13.5\u00a0±2.0\u00a0dB.",
		"weak signal: C/N 18 dB, only 3 dB to spare",
		"Turn the antenna, then try a foot or two sideways and up.",
		"Before you climb",
		"echoes: 0.90 ±0.02 µs at −11.3 ±0.4 dB",
		"2026-03-05 12:00 UTC", "12.8\u00a0±0.4 ppm", "15.2 dB", "tripod",
		"2026-03-05 14:00 UTC, cut short",
		"one line of the file could not be read and is left out",
		"Whether it holds", "channel 8: margin now", "<li>it held <span class=\"small\">Next: sleep</span></li>",
	} {
		require.True(t, strings.Contains(page, want), want)
	}
	require.False(t, strings.Contains(page, "ZgotmplZ"), "an address was refused")
	require.Equal(t, 4, strings.Count(page, "<img src=\"data:image/svg"), "skyline, grid, rose and course")

	// The decided place goes before the best one.
	p := house(t, "")
	p.Chosen = &p.Places.Ranking.Rows[1]
	page = write(t, p)
	require.True(t, strings.Contains(page, "Chosen place"))
	require.True(t, strings.Contains(page, fmt.Sprintf("<p class=\"best\">%s</p>", whereTo(p.Chosen.Spot))))
}

// Truth: what is known: a heading that only a turn heard has a page, with the
// skyline that the turn's margins make.
func TestPageOfATurn(t *testing.T) {
	p := house(t, "")
	turn := site.TurnRecord{Time: noon, Place: "gable", HeightM: ptr(7.0)}
	for i, rf := range []int{8, 17, 21, 35} {
		c := site.Curve{RFChannel: rf}
		for deg := 0.0; deg < 360; deg += site.CurveStepDeg {
			off := math.Remainder(deg-160-float64(5*i), 360) / 60
			c.Points = append(c.Points, site.Aimed{BearingDeg: deg, LevelDB: 14 - math.Min(20, 12*off*off)})
		}
		turn.Curves = append(turn.Curves, c)
	}
	o := site.DefaultOptions()
	p.Places.Ranking = *decide.Rank(site.Spots(p.Marks, o), []site.TurnRecord{turn}, p.Places.Wanted, o)
	require.True(t, p.Places.Ranking.Rows[0].Turn)
	page := write(t, p)
	require.Regexp(t, `<p class="best">gable, antenna pointing 16[5-9]°`, page)
	require.Contains(t, page, "One heading for all wanted channels at gable, 7 m: 16")
	require.Contains(t, page, "Will hold: channels 8 (Tollen A), 17 (Brack), 21 and 35")
}

// Truth: a value that was not measured is absent, never zero: what files of
// earlier versions lack, too.
func TestAbsent(t *testing.T) {
	p := house(t, "")
	p.Watched = nil
	for i := range p.Marks {
		m := &p.Marks[i]
		m.Clock, m.ThresholdDB, m.Source = nil, 0, ""
		for k := range m.Heard {
			h := &m.Heard[k]
			*h = site.Heard{RFChannel: h.RFChannel, Presence: h.Presence, Limits: h.Limits}
		}
	}
	spots := site.Spots(p.Marks, p.Places.Ranking.Options)
	p.Places.Ranking = *decide.Rank(spots, nil, p.Places.Wanted, p.Places.Ranking.Options)
	page := write(t, p)
	require.Empty(t, regexp.MustCompile(`[>\s]0(\.0)? (dB|ppm)|NaN|Inf[^o]|nil`).FindString(page))
	require.True(t, strings.Contains(page, "How well it would hold was not measured."))
	require.True(t, strings.Contains(page, "weak signal</p>"))

	require.Error(t, Write(&bytes.Buffer{}, nil))
	require.Error(t, Write(&bytes.Buffer{}, &Page{Places: &plot.Places{}}))
	require.ErrorIs(t, Write(full{}, house(t, "")), errFull)
}

var errFull = errors.New("disk full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

// Truth: a house of any size, and values of any size, make a page.
func TestAnyHouse(t *testing.T) {
	var marks []site.Mark
	var wanted []site.Want
	for rf := 2; rf <= 36; rf++ {
		wanted = append(wanted, site.Want{RFChannel: rf, Importance: 1})
	}
	for i := range 30 {
		m := site.Mark{Time: noon.Add(time.Duration(i) * 26 * time.Hour), Place: fmt.Sprint("place ", i/3), BearingDeg: ptr(float64(i * 12))}
		for rf := 2; rf <= 36; rf++ {
			m.Heard = append(m.Heard, heard(rf, []float64{-1e4, 1e4, 9000, -0.001, 8.999}[(rf+i)%5]))
		}
		marks = append(marks, m)
	}
	o := site.DefaultOptions()
	spots := site.Spots(marks, o)
	page := write(t, &Page{Places: &plot.Places{House: strings.Repeat("W", 120), Wanted: wanted, Ranking: *decide.Rank(spots, nil, wanted, o)}, Marks: marks})
	require.Less(t, len(page), 3<<20)
	require.False(t, strings.Contains(page, "NaN"))
	require.True(t, strings.Contains(page, "on 30 days from 5 March 2026"))
}

// Truth: a compass card.
func TestTowards(t *testing.T) {
	for deg, want := range map[float64]string{0: "north", 22: "north", 23: "north-east", 131: "south-east", 180: "south", 268: "west", 337: "north-west", 338: "north", 360: "north", -90: "west"} {
		require.Equal(t, want, towards(deg), "%g", deg)
	}
	require.NotPanics(t, func() { towards(math.MaxFloat64) })
}
