package plot

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

var partPictures = flag.String("parts", "", "draw the pictures of channels heard in part into this folder")

// onlySeen leaves of a channel what lies between pairs of MHz above its lower
// edge.
func onlySeen(c *scan.Channel, mhz ...float64) {
	c.Seen = nil
	for i := 0; i+1 < len(mhz); i += 2 {
		c.Seen = append(c.Seen, band.Span{LowHz: c.Channel.LowerHz + mhz[i]*1e6, HighHz: c.Channel.LowerHz + mhz[i+1]*1e6})
	}
	inside := func(offsetHz float64) bool {
		return slices.ContainsFunc(c.Seen, func(s band.Span) bool {
			return c.Channel.LowerHz+offsetHz >= s.LowHz && c.Channel.LowerHz+offsetHz <= s.HighHz
		})
	}
	c.Response = slices.DeleteFunc(c.Response, func(p measure.ResponsePoint) bool { return !inside(p.OffsetHz) })
	c.SliceMER = slices.DeleteFunc(c.SliceMER, func(s measure.SliceMER) bool { return !inside(s.CenterHz) })
	if c.Margin != nil {
		c.MarginMethod = measure.MarginTraining
	}
}

// parts is harbour as recordings of parts of its channels show it.
func parts() *scan.Survey {
	s := harbour()
	floor := -12.0
	c := channelOf(s, 21)
	onlySeen(c, 1, 3.1)
	c.Margin, c.CN, c.Grade, c.EchoFloorDB = est(7.8, 1.1), est(24, 1.6), verdict.Slim, &floor
	c.Tilt, c.Ripple, c.Pilot = nil, nil, nil
	c = channelOf(s, 9)
	onlySeen(c, 0.05, 0.6)
	c.Margin, c.Tilt, c.Ripple, c.Echoes = est(7.4, 2.4), nil, nil, nil
	onlySeen(channelOf(s, 16), 0.05, 1.95, 2.05, 3.95, 4.05, 5.95)
	c = channelOf(s, 24)
	onlySeen(c, 0, 2.05, 3.9, 6)
	c.Echoes, c.EchoFloorDB = []measure.Echo{}, &floor
	occupy := func(number int, low, high float64) {
		c := channelOf(s, number)
		c.Presence, c.Standard, c.Margin, c.CN, c.Grade = measure.Unsure, measure.OtherStandard, nil, nil, ""
		c.Suspicion = []measure.Doubt{measure.DoubtNoPilot}
		onlySeen(c, low, high)
		c.Occupant = &measure.Occupant{Span: c.Seen[0], UnevenDB: 2, OnShare: 1, RepeatSeconds: 66.67e-6}
		c.Verdict = verdict.Of(&c.Reading, nil, nil)
	}
	occupy(35, 0, 6)
	occupy(28, 3.4, 5.5)
	onlySeen(channelOf(s, 20), 5.6, 6)
	onlySeen(channelOf(s, 22), 0, 0.15)
	for i := range s.Channels {
		if n := s.Channels[i].Channel.Number; n < 7 || n > 29 && n < 33 {
			s.Channels[i] = scan.Channel{Reading: measure.Reading{Channel: s.Channels[i].Channel}}
		}
	}
	withSpectrum(s, 20e3)
	for i := range s.Spectrum.Density {
		f := s.Spectrum.At(i)
		if !slices.ContainsFunc(s.Channels, func(c scan.Channel) bool {
			return slices.ContainsFunc(c.Seen, func(sp band.Span) bool { return f >= sp.LowHz && f <= sp.HighHz })
		}) {
			s.Spectrum.Density[i] = math.NaN()
		}
	}
	return s
}

// alone is a survey of one channel of another.
func alone(s *scan.Survey, number int) *scan.Survey {
	one := *s
	one.Channels = []scan.Channel{*channelOf(s, number)}
	return &one
}

// Truth: set arithmetic: what was heard and what was not are all of a channel.
func TestUnseenSpans(t *testing.T) {
	ch := surveyOf("us").Channels[20].Channel
	mhz := func(pairs ...float64) scan.Channel {
		c := scan.Channel{Reading: measure.Reading{Channel: ch}}
		onlySeen(&c, pairs...)
		return c
	}
	for _, c := range []struct {
		c          scan.Channel
		seen, rest int
	}{
		{mhz(), 0, 0}, {mhz(0, 6), 1, 0}, {mhz(-1, 7), 1, 0}, {mhz(2, 4), 1, 2}, {mhz(0, 2), 1, 1},
		{mhz(0, 2, 2.2, 4, 4.2, 6), 3, 2}, {mhz(-2, 0.4), 1, 1},
	} {
		require.Len(t, unseenSpans(c.c), c.rest, "%v", c.c.Seen)
		require.Len(t, seenSpans(c.c), c.seen, "%v", c.c.Seen)
		var sum float64
		for _, s := range append(seenSpans(c.c), unseenSpans(c.c)...) {
			require.Greater(t, s.HighHz, s.LowHz)
			sum += s.WidthHz()
		}
		if c.seen > 0 {
			require.InDelta(t, band.WidthHz, sum, 1)
		}
	}
	require.InDelta(t, 4e6, reachHz(mhz(1, 2, 4, 5)), 1)
	require.Equal(t, "", inPart([]scan.Channel{mhz(0, 6), mhz()}))
	require.Equal(t, "channel 22 was heard in part: 2 of its 6 MHz", inPart([]scan.Channel{mhz(2, 4)}))
	require.Equal(t, "heard in part, of 6 MHz each: channels 22 (2 MHz), 22 (0.4 MHz)", inPart([]scan.Channel{mhz(2, 4), mhz(0, 0.4)}))
}

// Truth: what was looked at and found good; -update writes it anew.
func TestPartsLook(t *testing.T) {
	s := parts()
	golden(t, filepath.Join("testdata", "rows", "parts.txt"), rowsOfText(t, s, TextOptions{UTF8: true}))
	for _, n := range []int{9, 20, 21, 24, 28, 35} {
		var b bytes.Buffer
		require.NoError(t, Details(&b, *channelOf(s, n), s, TextOptions{}))
		golden(t, filepath.Join("testdata", "details", fmt.Sprintf("part-%d.txt", n)), b.String())
	}
}

// Truth: what is known to be no station is not called one.
func TestOccupantsAreNoStations(t *testing.T) {
	s := parts()
	for _, n := range []int{28, 35} {
		c := *channelOf(s, n)
		require.Equal(t, "other", word(c))
		require.Equal(t, foreign, conditionOf(c))
		require.Equal(t, "no TV station", standardInWords(c))
		require.NotContains(t, spokenEchoes(c), "too weak")
	}
	require.Contains(t, tally(s.Channels), "other")
	require.NotContains(t, strings.Join(foreigners(s.Channels), " "), "ATSC 3.0: a set or tuner without ATSC 3.0 will not show them")
}

// Truth: a picture of a part says in its own words that it is one, and says so
// with dots, which need no colour.
func TestPartPictures(t *testing.T) {
	s := parts()
	for name, draw := range map[string]func(io.Writer, string) error{
		"skyline":     func(w io.Writer, f string) error { return Skyline(w, f, s, Options{}) },
		"spectrum":    func(w io.Writer, f string) error { return Spectrum(w, f, s, Options{}) },
		"response":    func(w io.Writer, f string) error { return Response(w, f, s, Options{}) },
		"response-21": func(w io.Writer, f string) error { return Response(w, f, alone(s, 21), Options{}) },
		"echoes":      func(w io.Writer, f string) error { return Echoes(w, f, s, Options{}) },
		"echoes-21":   func(w io.Writer, f string) error { return Echoes(w, f, alone(s, 21), Options{}) },
		"echoes-24":   func(w io.Writer, f string) error { return Echoes(w, f, alone(s, 24), Options{}) },
		"explain-21":  func(w io.Writer, f string) error { return Explain(w, f, *channelOf(s, 21), s, Options{}) },
		"explain-9":   func(w io.Writer, f string) error { return Explain(w, f, *channelOf(s, 9), s, Options{}) },
		"explain-16":  func(w io.Writer, f string) error { return Explain(w, f, *channelOf(s, 16), s, Options{}) },
		"explain-28":  func(w io.Writer, f string) error { return Explain(w, f, *channelOf(s, 28), s, Options{}) },
	} {
		var b bytes.Buffer
		require.NoError(t, draw(&b, "svg"), name)
		words := "not heard"
		switch name {
		case "echoes", "echoes-21", "echoes-24":
			words = "too faint to be heard"
		case "explain-16": // its gaps are too narrow for words
			words = "from 5.7 of its 6 MHz"
		}
		require.True(t, strings.Contains(b.String(), words), name)
		require.True(t, strings.Contains(b.String(), "stroke-dasharray:0.8,2.2"), name)
		if *partPictures != "" {
			b.Reset()
			require.NoError(t, draw(&b, "png"), name)
			require.NoError(t, os.WriteFile(filepath.Join(*partPictures, name+".png"), b.Bytes(), 0o644))
		}
	}
}
