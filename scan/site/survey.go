package site

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// NewMark makes a mark of what a visit measured. The channels of which it heard
// nothing are left out; of one that it heard in part the mark says so. Place, bearing, height, note and program are the
// caller's to add.
func NewMark(s *scan.Survey) Mark {
	m := Mark{Time: s.Started, Look: Careful, Source: s.Source, ThresholdDB: s.ThresholdDB, Interrupted: s.Interrupted}
	if k := s.Clock; k != nil {
		ppm := k.PPM
		if k.Given {
			ppm.Sigma = 0
		}
		m.Clock = &ppm
	}
	for i := range s.Channels {
		if c := &s.Channels[i]; c.Heard() {
			h := heardOf(c)
			if most := c.CNAtMostDB; most != nil {
				margin := *most - s.ThresholdDB
				h.AtMostDB = &margin
			}
			m.Heard = append(m.Heard, h)
		}
	}
	return m
}

func heardOf(c *scan.Channel) Heard {
	h := Heard{
		RFChannel: c.Channel.Number, Presence: c.Presence, Grade: c.Grade, Standard: c.Standard,
		Margin: copied(c.Margin), CN: copied(c.CN), MER: copied(c.MER),
		Power: copied(c.PowerDBFS), Tilt: copied(c.Tilt), Ripple: copied(c.Ripple),
		EchoCost: copied(c.EchoCost), UnderCost: copied(c.UnderCost),
		Echoes: slices.Clone(c.Echoes), Advice: slices.Clone(c.Advice),
		Clipped: c.ClippedFraction, Lost: c.LostSamples,
	}
	if h.Margin != nil {
		h.MarginMethod = c.MarginMethod
	}
	if c.GainDB != nil {
		gain := *c.GainDB
		h.GainDB = &gain
	}
	h.Occupied = c.Occupant != nil && verdict.Occupied(&c.Reading)
	h.HeardPart(c.Seen)
	for _, r := range c.Reasons {
		h.Limits = append(h.Limits, r.Limit)
		h.Evidence = append(h.Evidence, r.Evidence)
	}
	return h
}

func copied(e *measure.Estimate) *measure.Estimate {
	if e == nil {
		return nil
	}
	c := *e
	return &c
}

// Survey is what a mark tells as a visit would, so that it can be drawn as one.
// What a mark does not keep is absent: the spectrum, the pilots, the noise.
// Channels that no plan knows are left out.
func (m *Mark) Survey() *scan.Survey {
	s := &scan.Survey{
		Started: m.Time, Source: m.Source, SpectrumGainDB: math.NaN(),
		ThresholdDB: m.ThresholdDB, Interrupted: m.Interrupted,
	}
	if m.Clock != nil {
		s.Clock = &measure.Clock{PPM: *m.Clock, Given: m.Clock.Sigma == 0}
	}
	for i := range m.Heard {
		h := &m.Heard[i]
		if c, ok := channel(h.RFChannel); ok {
			s.Channels = append(s.Channels, h.channel(c))
		}
	}
	slices.SortFunc(s.Channels, func(a, b scan.Channel) int { return cmp.Compare(a.Channel.LowerHz, b.Channel.LowerHz) })
	return s
}

// channel finds an RF channel in the plans, in which a number means the same
// wherever it stands.
func channel(number int) (band.Channel, bool) {
	for _, p := range band.Plans() {
		if c, ok := p.Channel(number); ok {
			return c, true
		}
	}
	return band.Channel{}, false
}

func (h *Heard) channel(c band.Channel) scan.Channel {
	out := scan.Channel{Reading: measure.Reading{
		Channel: c, Seen: h.parts(c), Presence: h.Presence, Standard: h.Standard,
		Margin: copied(h.Margin), MarginMethod: h.MarginMethod, CN: copied(h.CN), MER: copied(h.MER),
		PowerDBFS: copied(h.Power), Tilt: copied(h.Tilt), Ripple: copied(h.Ripple),
		EchoCost: copied(h.EchoCost), UnderCost: copied(h.UnderCost), Echoes: slices.Clone(h.Echoes),
		GainDB: h.GainDB, ClippedFraction: h.Clipped, LostSamples: h.Lost,
	}}
	if h.Occupied {
		out.Occupant = &measure.Occupant{}
	}
	out.Grade, out.Advice = h.Grade, slices.Clone(h.Advice)
	for i, l := range h.Limits {
		r := verdict.Reason{Limit: l}
		if i < len(h.Evidence) {
			r.Evidence = h.Evidence[i]
		}
		out.Reasons = append(out.Reasons, r)
	}
	return out
}
