package hunt

import (
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// channelAt is what is known of one wanted channel for the choice of a gain.
type channelAt struct {
	channel band.Channel
	signal  float64   // power of the station at the input
	slices  []float64 // power in each of its slices, at the input
	second  float64   // unit power of products in it
	third   float64
}

// sinr is the channel's signal over all that is under it at a gain, relative to
// the highest; full is the input power of 0 dBFS at the highest gain, +Inf for
// a converter without rails.
func (f *frontEnd) sinr(c *channelAt, gain, full float64) float64 {
	noise := f.noise(c.channel.CenterHz(), gain) * band.WidthHz
	products := f.second*c.second*gain + f.third*c.third*gain*gain
	rails := 0.0
	for _, p := range c.slices {
		if share := clipping(p * gain / full); share > 0 {
			// Spread over the slice's rate, and as bad as its mean over the channel.
			rails += share * full / gain * band.WidthHz / defaultRateHz / float64(len(c.slices))
		}
	}
	return c.signal / (noise + products + rails)
}

// clipping is the power of the error that rails make of a complex Gaussian
// signal of some power, both relative to full scale. By Bussgang's theorem what
// comes out is a part of the signal, erf(1/(σ√2)) of it for a branch of standard
// deviation σ, and an error that is uncorrelated with it; the error is stated
// as if it were added to the signal.
func clipping(power float64) float64 {
	sigma := math.Sqrt(power / 2)
	if !(sigma > 0.15) { // 16 dB below the rails and more
		return 0
	}
	x := 1 / sigma
	beyond := math.Erfc(x / math.Sqrt2) // on either side
	bell := math.Exp(-x*x/2) / math.Sqrt(2*math.Pi)
	part := 1 - beyond
	square := sigma*sigma*(1-beyond) - 2*sigma*bell + beyond
	return 2 * max(square-part*part*sigma*sigma, 0) / (part * part)
}

// wantedAt prepares the wanted channels that hold a station.
func (s *scene) wantedAt(f *frontEnd, all []mix) []channelAt {
	var out []channelAt
	if s.survey == nil {
		return nil
	}
	for i := range s.survey.Channels {
		r := &s.survey.Channels[i].Reading
		if r.Presence != measure.Present || r.PowerDBFS == nil || r.NoiseDBFS == nil {
			continue
		}
		gain := 0.0
		if r.GainDB != nil {
			gain = s.realGain(*r.GainDB)
		}
		power := linear(r.PowerDBFS.Value - gain)
		signal := power - linear(r.NoiseDBFS.Value-gain)
		if r.CN != nil && signal <= linear(r.NoiseDBFS.Value-gain)*linear(r.CN.Value)/2 {
			signal = linear(r.NoiseDBFS.Value - gain + r.CN.Value)
		}
		if !(signal > 0) {
			continue
		}
		c := channelAt{channel: r.Channel, signal: signal}
		c.second = unit(all, 2, r.Channel.LowerHz, r.Channel.UpperHz())
		c.third = unit(all, 3, r.Channel.LowerHz, r.Channel.UpperHz())
		c.slices = s.slicePowers(r.Channel)
		out = append(out, c)
	}
	return out
}

// slicePowers is the power that each of a channel's slices takes in.
func (s *scene) slicePowers(c band.Channel) []float64 {
	var out, at []float64
	for _, x := range s.stays {
		if x.off || x.clipped > railShare || x.centerHz < c.LowerHz+0.5e6 || x.centerHz > c.UpperHz()-0.5e6 {
			continue
		}
		if slices.ContainsFunc(at, func(hz float64) bool { return math.Abs(hz-x.centerHz) < 0.7e6 }) {
			continue
		}
		var sum float64
		for _, d := range x.density {
			sum += d * x.stepHz
		}
		out, at = append(out, x.perGain(sum)), append(at, x.centerHz)
	}
	return out
}
