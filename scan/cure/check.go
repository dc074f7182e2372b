package cure

import (
	"math"
	"slices"

	"rooftone/dsp/robust"
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Check compares a prediction with what was measured after the change.
type Check struct {
	Channels []ChannelCheck
	// OffDB is the middle of what the predictions were off by, without their signs;
	// Inside how many lay within their intervals.
	OffDB  float64
	Inside int
}

// ChannelCheck is one channel's.
type ChannelCheck struct {
	Channel  band.Channel
	Foreseen Interval         // change of the margin, dB
	Measured measure.Estimate // the same
	OffDB    float64          // measured less foreseen
	Fits     bool             // the measured change lies in the interval, its own uncertainty allowed for
}

// CheckOf compares an Outcome, predicted from what was measured before, with what was
// measured afterwards.
func (p *Predictor) CheckOf(o *Outcome, afterwards []Channel) Check {
	var out Check
	var off []float64
	for _, c := range o.Channels {
		k := slices.IndexFunc(afterwards, func(a Channel) bool { return a.Channel == c.Channel })
		if k < 0 || !afterwards[k].hopeful() {
			continue
		}
		was, is := p.m.Channels[c.Index].Margin, afterwards[k].Margin
		x := ChannelCheck{Channel: c.Channel, Foreseen: c.Change, Measured: measure.Estimate{Value: is.Value - was.Value, Sigma: math.Hypot(is.Sigma, was.Sigma)}}
		x.OffDB = x.Measured.Value - c.Change.Middle
		// What stands still for a visit differs a little from one to the next.
		const repeats, coverage = 0.2, 1.96
		slack := coverage * math.Hypot(x.Measured.Sigma, repeats)
		x.Fits = x.Measured.Value >= c.Change.Low-slack && x.Measured.Value <= c.Change.High+slack
		if x.Fits {
			out.Inside++
		}
		off = append(off, math.Abs(x.OffDB))
		out.Channels = append(out.Channels, x)
	}
	out.OffDB = robust.Median(off)
	return out
}
