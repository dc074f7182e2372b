package expect

import (
	"math"
	"slices"

	"rooftone/scan/measure"
)

// Finding is how a measurement stands beside what was expected.
type Finding string

// The findings. What lies within the interval is as expected.
const (
	AsExpected Finding = "as expected"
	Weaker     Finding = "weaker"
	Stronger   Finding = "stronger" // than the station can be: it may be another one
	Absent     Finding = "absent"   // though it should have shown itself
	Unsaid     Finding = "unsaid"
)

const (
	// ceilingDB is the C/N from which on a radio's own noise decides: a cheap radio
	// turned down for strong stations shows no more. Common practice, no source.
	ceilingDB = 30
	// showsDB is the C/N that a station certainly shows itself at.
	showsDB = 0
)

// Difference is a channel's measured C/N beside the expected one.
type Difference struct {
	RFChannel int
	Label     string
	Expected  Interval // C/N, of the strongest listed station on the channel
	CN        *measure.Estimate
	// Measured less expected, with the interval that holds it in 95 of 100 cases; nil
	// where nothing was measured or only that the radio shows no more.
	Off     *Interval
	Ceiling bool // the radio shows no more than what was measured
	Finding Finding
}

// Beside puts readings beside what was expected, in the readings' order. Channels on
// which nothing is expected, or nothing was heard, are left out.
func (e *Expectation) Beside(readings []*measure.Reading) (out []Difference) {
	for _, r := range readings {
		var best *Expected
		for i := range e.Stations {
			x := &e.Stations[i]
			if x.RFChannel == r.Channel.Number && x.Problem == "" && (best == nil || x.Field.Value > best.Field.Value) {
				best = x
			}
		}
		if best != nil && r.SeenShare() > 0 {
			out = append(out, best.beside(r))
		}
	}
	return out
}

func (x *Expected) beside(r *measure.Reading) Difference {
	d := Difference{RFChannel: x.RFChannel, Label: x.Label, Expected: x.CN, Finding: Unsaid}
	switch {
	case r.Presence == measure.Vacant && x.CN.Low > showsDB:
		d.Finding = Absent
	case r.Presence == measure.Vacant:
		d.Finding = AsExpected
	case r.Presence == measure.Present && r.CN != nil:
		d.CN = r.CN
		off := r.CN.Value - x.CN.Value
		if d.Ceiling = r.CN.Value >= ceilingDB && off < 0; d.Ceiling {
			d.Finding = AsExpected
			return d
		}
		d.Off = &Interval{off, off - math.Hypot(x.CN.High-x.CN.Value, z95*r.CN.Sigma), off + math.Hypot(x.CN.Value-x.CN.Low, z95*r.CN.Sigma)}
		switch {
		case d.Off.High < 0:
			d.Finding = Weaker
		case d.Off.Low > 0:
			d.Finding = Stronger
		default:
			d.Finding = AsExpected
		}
	}
	return d
}

// Middle is the median of the differences, and of how many; nil without any.
func Middle(list []Difference) (db *float64, of int) {
	var all []float64
	for _, d := range list {
		if d.Off != nil {
			all = append(all, d.Off.Value)
		}
	}
	if len(all) == 0 {
		return nil, 0
	}
	slices.Sort(all)
	m := (all[(len(all)-1)/2] + all[len(all)/2]) / 2
	return &m, len(all)
}
