package site

import (
	"rooftone/scan"
	"rooftone/scan/measure"
)

// NewMark makes a mark of what a visit measured. The channels that it did not
// cover are left out. Place, bearing, height, note and program are the
// caller's to add.
func NewMark(s *scan.Survey) Mark {
	m := Mark{Time: s.Started, Source: s.Source, ThresholdDB: s.ThresholdDB, Interrupted: s.Interrupted}
	if k := s.Clock; k != nil {
		ppm := k.PPM
		if k.Given {
			ppm.Sigma = 0
		}
		m.Clock = &ppm
	}
	for i := range s.Channels {
		if c := &s.Channels[i]; c.Covered {
			m.Heard = append(m.Heard, heardOf(c))
		}
	}
	return m
}

func heardOf(c *scan.Channel) Heard {
	h := Heard{
		RFChannel: c.Channel.Number, Presence: c.Presence, Grade: c.Grade, Standard: c.Standard,
		Margin: copied(c.Margin), CN: copied(c.CN), MER: copied(c.MER),
		Power: copied(c.PowerDBFS), Tilt: copied(c.Tilt), Ripple: copied(c.Ripple),
		Clipped: c.ClippedFraction, Lost: c.LostSamples,
	}
	if h.Margin != nil {
		h.MarginMethod = c.MarginMethod
	}
	if c.GainDB != nil {
		gain := *c.GainDB
		h.GainDB = &gain
	}
	for _, r := range c.Reasons {
		h.Limits = append(h.Limits, r.Limit)
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
