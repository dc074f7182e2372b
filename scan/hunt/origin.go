package hunt

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Origin says where what stands in a channel comes from, by how it moves with
// the gain.
type Origin struct {
	Channel  band.Channel
	From     string  // "station", "product", "outside", "noise"
	ExcessDB float64 // over the receiver's noise, at the highest gain; NaN for a station
	Order    int     // of a product
	SlopeDB  *measure.Estimate
}

// unevenDB is how far the noise of one channel may lie above that of the
// others: the gain strays with frequency.
const unevenDB = 2

// origins says of each channel where what is in it comes from.
func (f *finding) origins() []Origin {
	var out []Origin
	for i := range f.survey.Channels {
		r := &f.survey.Channels[i].Reading
		if isStation(r) {
			out = append(out, Origin{Channel: r.Channel, From: "station", ExcessDB: math.NaN()})
		}
	}
	for i := range f.rungs {
		c := &f.rungs[i]
		base := f.front.alpha(c.channel.CenterHz())
		if math.IsNaN(base) {
			continue
		}
		made, order := c.made, c.order
		const enough = 3 // rungs, to tell by themselves
		if predicted := f.front.second*c.second + f.front.third*c.third; predicted > made && len(c.rungs) < enough {
			made = predicted
			order = 3
			if f.front.second*c.second > f.front.third*c.third {
				order = 2
			}
		}
		outside := max(c.alpha-base*linear(unevenDB), 0)
		const shows = 0.25
		o := Origin{Channel: c.channel, From: "noise", ExcessDB: decibel((made + outside) / base)}
		r := f.reading(c.channel)
		switch {
		case made < shows*base && r != nil && r.Presence == measure.Present, made < outside && r != nil && r.Presence == measure.Present:
			o.From = "station"
		case made+outside < shows*base:
		case made >= outside:
			o.From, o.Order, o.SlopeDB = "product", order, slope(c.rungs, c.alpha, f.front.rho)
		default:
			o.From = "outside"
		}
		out = append(out, o)
	}
	slices.SortFunc(out, func(a, b Origin) int { return cmp.Compare(a.Channel.LowerHz, b.Channel.LowerHz) })
	return out
}

// slope is by how many dB what exceeds the noise rises at the output for each
// dB of gain, between the highest gain and the lowest that still shows it.
func slope(r []rung, alpha, rho float64) *measure.Estimate {
	var best *measure.Estimate
	top := r[0]
	over := func(x rung) float64 { return x.value - alpha*(1+rho/x.gain) }
	for _, x := range r[1:] {
		a, b := over(top), over(x)
		if a < 3*top.sigma || b < 3*x.sigma {
			continue
		}
		run := decibel(top.gain / x.gain)
		e := measure.Estimate{
			Value: 1 + decibel(a/b)/run,
			Sigma: 10 / math.Ln10 * math.Hypot(top.sigma/a, x.sigma/b) / run,
		}
		if best == nil || e.Sigma < best.Sigma {
			best = &e
		}
	}
	return best
}
