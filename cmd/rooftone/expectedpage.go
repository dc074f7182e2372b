package main

import (
	"fmt"
	"math"
	"slices"

	"rooftone/plot/handover"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// expectedOnPage says of every station of the list and of the house what the marks
// made of it.
func (s *stationFlags) expectedOnPage(house *site.House, told telling) []handover.Expected {
	var out []handover.Expected
	add := func(rfChannel int, name string) {
		e := handover.Expected{RFChannel: rfChannel, Name: name}
		e.Became, e.Missing = becameOf(house.Marks, rfChannel, told)
		out = append(out, e)
	}
	known := slices.Clone(s.list)
	for _, st := range house.Stations {
		if !slices.ContainsFunc(known, func(o site.Station) bool { return o.RFChannel == st.RFChannel && o.Label == st.Label }) {
			known = append(known, st)
		}
	}
	for _, st := range known {
		e := reportExpected{Label: st.Label, ShownChannel: text(st.Shown)}
		add(st.RFChannel, e.name())
	}
	for _, l := range house.Learnt {
		if !slices.ContainsFunc(known, func(o site.Station) bool { return o.RFChannel == l.RFChannel }) {
			add(l.RFChannel, l.Label())
		}
	}
	slices.SortStableFunc(out, func(a, b handover.Expected) int { return a.RFChannel - b.RFChannel })
	return out
}

// becameOf says whether a channel was heard at any mark, and of one that was looked
// for in vain what it lacks at least at each.
func becameOf(marks []site.Mark, rfChannel int, told telling) (became string, missing bool) {
	var best, there *site.Heard
	var where string
	looks, unsure, most := 0, 0, math.Inf(-1)
	for i := range marks {
		for k := range marks[i].Heard {
			h := &marks[i].Heard[k]
			if h.RFChannel != rfChannel {
				continue
			}
			looks++
			switch h.Presence {
			case measure.Present:
				there = h
				if h.Margin != nil && (best == nil || h.Margin.Value > best.Margin.Value) {
					best, where = h, told.mark(marks[i])
				}
			case measure.Unsure:
				unsure++
			default:
				at := math.Inf(1) // not told
				if h.AtMostDB != nil {
					at = *h.AtMostDB
				}
				most = math.Max(most, at)
			}
		}
	}
	switch {
	case looks == 0:
		return "not looked for", false
	case best != nil:
		if v := best.Margin.Value; v < 0 {
			return fmt.Sprintf("heard, and still %.1f dB short at the best place, %s", -v, where), false
		}
		return fmt.Sprintf("heard, with %.1f dB to spare at the best place, %s", best.Margin.Value, where), false
	case there != nil && there.Standard == measure.ATSC3:
		return "heard: it is ATSC 3.0, which a set without ATSC 3.0 does not show", false
	case there != nil:
		return "heard, and too weak to say by how much", false
	case unsure > 0:
		return "unsure: something is on its channel", false
	case most < 0:
		return fmt.Sprintf("not heard, %s: it lacks more than %.0f dB (%.0f %%)", lookedFor(looks), math.Floor(-most), 100*measure.AtMostConfidence), true
	}
	return "not heard, " + lookedFor(looks), true
}

func lookedFor(looks int) string {
	if looks == 1 {
		return "looked for once"
	}
	return fmt.Sprintf("looked for %d times", looks)
}
