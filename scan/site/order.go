package site

import (
	"cmp"
	"slices"
)

// Compare orders spots by the names of their places, their bearings and heights.
func (s *Spot) Compare(t *Spot) int { return bySpot(*s, *t) }

// Mark is a spot as one mark, with no more than its margins.
func (s *Spot) Mark() *Mark {
	m := &Mark{Place: s.Place, BearingDeg: s.BearingDeg, HeightM: s.HeightM}
	if n := len(s.Visits); n > 0 {
		m.Time = s.Visits[n-1]
	}
	for rf, c := range s.Channels {
		m.Heard = append(m.Heard, Heard{
			RFChannel: rf, Presence: c.Presence, Standard: c.Standard, Grade: c.Grade, Limits: c.Limits, Margin: c.Margin,
		})
	}
	slices.SortFunc(m.Heard, func(a, b Heard) int { return cmp.Compare(a.RFChannel, b.RFChannel) })
	return m
}
