package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/measure"
)

// This file says of every station that is expected, by a list or by a house that
// knows it, whether it was heard: one that is missing is the most useful line.

// What became of a station that was expected.
const (
	wasHeard     = "heard"
	wasUnsure    = "unsure"         // something is there, and it is not known to be it
	wasNotHeard  = "not-heard"      // nothing is there
	notLookedFor = "not-looked-for" // its channel was not visited, or the recording does not hold it
)

// reportExpected is a station that was expected, in JSON: a public contract,
// described in the README.
type reportExpected struct {
	RFChannel    int      `json:"rf_channel"`
	Label        string   `json:"label"`
	ShownChannel *string  `json:"shown_channel"`
	State        string   `json:"state"`
	Standard     *string  `json:"standard"`
	Grade        *string  `json:"grade"`
	MarginDB     *float64 `json:"margin_db"`

	// Of one that was not heard: what it is below with that probability.
	MarginAtMostDB *float64 `json:"margin_at_most_db"`
	CNAtMostDB     *float64 `json:"cn_at_most_db"`
	Confidence     *float64 `json:"confidence"`

	channel *scan.Channel
}

// expected lists every station that a list or the house's file has, by RF channel.
func (s *stationFlags) expected(survey *scan.Survey) []reportExpected {
	out := []reportExpected{}
	add := func(rfChannel int, label, shown string) {
		e := reportExpected{RFChannel: rfChannel, Label: label, ShownChannel: text(shown)}
		e.look(survey)
		out = append(out, e)
	}
	for _, st := range s.list {
		add(st.RFChannel, st.Label, st.Shown)
	}
	named := func(rfChannel int) bool {
		return slices.ContainsFunc(out, func(e reportExpected) bool { return e.RFChannel == rfChannel })
	}
	if s.house != nil {
		for _, l := range s.house.Learnt {
			if !named(l.RFChannel) {
				shown := ""
				if len(l.Services) > 0 {
					shown = l.Services[0].Number
				}
				add(l.RFChannel, s.label(l.RFChannel), shown)
			}
		}
		for _, w := range s.house.Wanted {
			if !named(w.RFChannel) {
				add(w.RFChannel, w.Label, "")
			}
		}
	}
	slices.SortStableFunc(out, func(a, b reportExpected) int { return a.RFChannel - b.RFChannel })
	return out
}

// look finds what a visit says of a station.
func (e *reportExpected) look(survey *scan.Survey) {
	e.State = notLookedFor
	i := slices.IndexFunc(survey.Channels, func(c scan.Channel) bool { return c.Channel.Number == e.RFChannel })
	if i < 0 || !survey.Channels[i].Heard() {
		return
	}
	c := &survey.Channels[i]
	e.channel = c
	e.Standard, e.Grade = word(c.Standard), word(c.Grade)
	e.MarginDB, _ = decibels(c.Margin)
	switch c.Presence {
	case measure.Present:
		e.State = wasHeard
	case measure.Vacant:
		e.State = wasNotHeard
		if most := c.CNAtMostDB; most != nil {
			sure := measure.AtMostConfidence
			e.CNAtMostDB, e.MarginAtMostDB, e.Confidence = round(*most, 0.1), round(*most-survey.ThresholdDB, 0.1), &sure
		}
	default:
		e.State = wasUnsure
	}
}

// words says what became of a station.
func (e *reportExpected) words() string {
	switch e.State {
	case notLookedFor:
		return "not looked for"
	case wasUnsure:
		return "unsure, something is there"
	case wasNotHeard:
		switch most := e.MarginAtMostDB; {
		case most == nil:
			return "not heard, in a part of its channel without its pilot"
		case *most < 0:
			return fmt.Sprintf("not heard, it lacks more than %.0f dB (%.0f %%)", math.Floor(-*most), 100**e.Confidence)
		default:
			return "not heard, and a tone that is no station hides how much it lacks"
		}
	}
	said := wasHeard
	switch c := e.channel; {
	case c.Standard == measure.ATSC3:
		said += ", ATSC 3.0"
		if c.CN != nil {
			said += fmt.Sprintf(", C/N %.1f dB", c.CN.Value)
		}
	case e.MarginDB != nil:
		said += fmt.Sprintf(", %s, %+.1f dB", c.Grade, *e.MarginDB)
	case c.Grade != "":
		said += ", " + string(c.Grade)
	}
	return said
}

// name is what to call an expected station.
func (e *reportExpected) name() string {
	name := e.Label
	if e.ShownChannel != nil && strings.Contains(*e.ShownChannel, ".") && !strings.HasPrefix(name, *e.ShownChannel) {
		name = strings.TrimSpace(*e.ShownChannel + " " + name)
	}
	return name
}

const (
	// mostOnOne is how many stations of one channel that was not heard have a line
	// of their own: a list of a whole country has many.
	mostOnOne = 3
	// mostUnlooked is how many of those that were not looked for are named.
	mostUnlooked = 12
)

// showExpected tells below a survey's rows what became of every station that was
// expected.
func (s *stationFlags) showExpected(c *console, survey *scan.Survey, l looks) error {
	// Of one that was heard and has no name the rows above say all.
	list := slices.DeleteFunc(s.expected(survey), func(e reportExpected) bool { return e.State == wasHeard && e.name() == "" })
	if len(list) == 0 {
		return nil
	}
	heading := "expected, and what was heard of it"
	if s.at != "" {
		heading += ", seen from " + s.at
	}
	lines := []string{"", heading + ":"}
	var unlooked []reportExpected
	for i := 0; i < len(list); {
		k := i + 1
		for k < len(list) && list[k].RFChannel == list[i].RFChannel {
			k++
		}
		switch group := list[i:k]; {
		case group[0].State == notLookedFor:
			unlooked = append(unlooked, group...)
		case group[0].State == wasNotHeard && len(group) > mostOnOne:
			lines = append(lines, fmt.Sprintf("%3d  %s and %d more: %s", group[0].RFChannel, group[0].name(), len(group)-1, group[0].words()))
		default:
			lines = append(lines, s.linesOf(group)...)
		}
		i = k
	}
	lines = append(lines, unlookedLine(unlooked)...)
	screen := c.screenFor(l)
	return plot.Lines(c.stdout, lines, plot.TextOptions{Width: screen.width, UTF8: screen.utf8})
}

// linesOf are the lines of the stations of one channel.
func (s *stationFlags) linesOf(group []reportExpected) (lines []string) {
	where := s.report(group[0].RFChannel)
	for i := range group {
		e := &group[i]
		line := fmt.Sprintf("%3d", e.RFChannel)
		if name := e.name(); name != "" {
			line += "  " + name
		}
		for k, r := range where {
			if r.Label == e.Label && (r.ShownChannel == nil) == (e.ShownChannel == nil) {
				line += s.direction(r)
				where = slices.Delete(where, k, k+1)
				break
			}
		}
		lines = append(lines, line+": "+e.words())
	}
	return lines
}

// unlookedLine names those that were not looked for.
func unlookedLine(list []reportExpected) []string {
	if len(list) == 0 {
		return nil
	}
	var numbers []int
	var names []string
	for i := range list {
		numbers = append(numbers, list[i].RFChannel)
		names = append(names, strings.TrimSpace(strconv.Itoa(list[i].RFChannel)+" "+list[i].name()))
	}
	said := strings.Join(names, "; ")
	if len(list) > mostUnlooked {
		said = fmt.Sprintf("%d stations on channels %s", len(list), plot.Ranges(slices.Compact(numbers)))
	}
	return []string{"not looked for: " + said}
}
