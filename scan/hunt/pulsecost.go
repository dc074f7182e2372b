package hunt

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// pulseHarms tells what impulses cost each station among the channels that they
// are heard on.
func (e *examination) pulseHarms(s *Suspect, in []heard, on func(*measure.Reading) bool) {
	all := e.overNoise(in)
	var level, levelWeight float64
	for i := range e.readings {
		r := &e.readings[i]
		if !r.Heard() || r.NoiseDBFS == nil || !on(r) {
			continue
		}
		ratio, sigma, ok := pulsesOf(r, all)
		if !ok {
			continue
		}
		w := 1 / (sigma * sigma)
		level += w * ratio * linear(r.NoiseDBFS.Value)
		levelWeight += w
		if r.Presence != measure.Present {
			continue
		}
		cost, costSigma := pulseCost(r, ratio, sigma)
		if over, overSigma, known := e.overQuiet(r, in); known {
			cost, costSigma = decibel(1+over), 10/math.Ln10*overSigma/(1+over)
		}
		if cost < 2*costSigma && cost < 0.3 || cost < leastCostDB {
			continue
		}
		s.Harms = append(s.Harms, Harm{
			Channel: r.Channel,
			CostDB:  &measure.Estimate{Value: cost, Sigma: costSigma},
			Breaks:  r.Margin != nil && r.Margin.Value < 0 && r.Margin.Value+cost >= 0,
		})
	}
	slices.SortStableFunc(s.Harms, func(a, b Harm) int { return cmp.Compare(b.CostDB.Value, a.CostDB.Value) })
	if levelWeight > 0 && level > 0 {
		s.LevelDBFS = &measure.Estimate{Value: decibel(level / levelWeight), Sigma: 1}
	}
}

// pulseCostOn is by how many dB the impulses that were found raise the noise
// floor that a channel was measured to have; 0 for none.
func (e *examination) pulseCostOn(r *measure.Reading) float64 {
	if r.Noise == measure.NoiseTraining {
		return 0 // they are not in it
	}
	for _, s := range e.pulses {
		for _, h := range s.Harms {
			if h.Channel == r.Channel && h.CostDB != nil {
				return h.CostDB.Value
			}
		}
	}
	return 0
}

// pulseRatio is what one look says of the pulses' density averaged over time,
// in parts of the noise floor of the channel in its middle.
type pulseRatio struct {
	*look
	ratio, quiet float64
	under        bool // a station is on the channel
}

func (e *examination) overNoise(in []heard) []pulseRatio {
	var out []pulseRatio
	for i := range in {
		h := &in[i]
		r := e.readingAt(h.centerHz * e.clock)
		if r == nil || r.NoiseDBFS == nil || !h.of(r) || !(h.quiet > 0) {
			continue
		}
		noise := linear(r.NoiseDBFS.Value) / band.WidthHz
		out = append(out, pulseRatio{h.look, h.density / noise, h.quiet / noise, r.Presence == measure.Present})
	}
	return out
}

// overQuiet is the pulses' density averaged over time in a channel in parts of the
// noise without them, which the looks at channels without a station tell by
// themselves: how far the noise stands above its quiet level. It does not ask by
// what method the channel's own noise was read, nor what of the pulses that has
// in it. It is not known where there are none such.
func (e *examination) overQuiet(r *measure.Reading, in []heard) (ratio, sigma float64, ok bool) {
	const sure = 5
	var quiet []float64
	for i := range in {
		h := &in[i]
		at := e.readingAt(h.centerHz * e.clock)
		p := &h.pulses
		if at != nil && at.Presence != measure.Present && h.of(r) && p.Excess > sure*p.ExcessSigma && h.density > 0 {
			quiet = append(quiet, h.density/p.Excess)
		}
	}
	if len(quiet) == 0 {
		return 0, 0, false
	}
	noise := quantile(quiet, 0.5)
	var all []pulseRatio
	for i := range in {
		h := &in[i]
		if at := e.readingAt(h.centerHz * e.clock); at != nil && h.of(r) && h.quiet > 0 {
			all = append(all, pulseRatio{h.look, h.density / noise, h.quiet / noise, at.Presence == measure.Present})
		}
	}
	ratio, sigma, ok = pulsesOf(r, all)
	const uneven = 0.1 // what the noise differs by from channel to channel
	return math.Max(ratio, 0), math.Hypot(sigma, uneven*ratio), ok
}

const (
	// pulseScatter is the relative scatter of what a second of pulses has: some
	// hundred that are as good as independent.
	pulseScatter = 0.1

	// underScatter is how far off what is heard under a station may be.
	underScatter = 0.1

	// besideScatter is by how much the pulses may differ in a megahertz. Their
	// spectrum falls with frequency, by some 27 dB a decade for what people
	// make (ITU-R P.372, from memory).
	besideScatter = 0.01
)

// pulsesOf is the pulses' density averaged over time in a channel, in parts of
// its noise floor, by all looks at the same gain: pulses are broad.
func pulsesOf(r *measure.Reading, all []pulseRatio) (ratio, sigma float64, ok bool) {
	// Weighed by what noise leaves uncertain, and then also by how much the
	// pulses themselves scatter, taken from what all looks together say: were it
	// each look's own, those that heard few pulses would count for more.
	for range 2 {
		var sum, weight float64
		for i := range all {
			x := &all[i]
			if !x.of(r) {
				continue
			}
			scatter := pulseScatter/math.Sqrt(x.pulses.Seconds) + besideScatter*math.Abs(x.centerHz-r.Channel.CenterHz())/1e6
			if x.under {
				scatter += underScatter
			}
			own := math.Hypot(x.quiet, math.Max(ratio, 0)*scatter)
			sum += x.ratio / (own * own)
			weight += 1 / (own * own)
		}
		if weight == 0 {
			return 0, 0, false
		}
		ratio, sigma = sum/weight, 1/math.Sqrt(weight)
	}
	return ratio, math.Hypot(sigma, 0.03*ratio), true
}

// pulseCost is by how many dB the margin would rise without the pulses, where the
// noise without them is not known. A noise floor that was averaged over time has them in it; one that is the training's
// error has what fell upon the training, which is next to nothing as a rule.
func pulseCost(r *measure.Reading, ratio, sigma float64) (costDB, sigmaDB float64) {
	ratio = math.Max(ratio, 0)
	if r.Noise == measure.NoiseTraining {
		return decibel(1 + ratio), 10 / math.Ln10 * sigma / (1 + ratio)
	}
	ratio = math.Min(ratio, 0.97)
	return -decibel(1 - ratio), 10 / math.Ln10 * sigma / (1 - ratio)
}
