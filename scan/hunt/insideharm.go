package hunt

import (
	"fmt"
	"math"

	"rooftone/dsp/vsb"
	"rooftone/scan/measure"
)

const (
	// toneDUdB is how much stronger than a lone carrier a strong 8-VSB signal
	// must be for common receivers to decode it: from memory of the trade.
	toneDUdB = 10

	// equaliserTaps is how many taps a common receiver's forward equaliser has,
	// one symbol apart.
	equaliserTaps = 64

	// leastCostDB is the least cost that is listed as a harm.
	leastCostDB = 0.05
)

// resolutionHz is about as fine as such an equaliser can shape its response.
const resolutionHz = vsb.SymbolRateHz / equaliserTaps

// residueDB is how much of a narrow intruder's power counts as noise in a
// common receiver, in dB. If 10 dB above a lone carrier is just enough for a
// strong signal, then what the equaliser leaves of the carrier is as bad as
// noise at the threshold: threshold − 10 dB are taken away. What is wider than
// the equaliser resolves is suppressed less, and nothing of what fills the
// channel; in between we go along a straight line over the logarithm of the
// width.
func residueDB(widthHz, thresholdDB float64) float64 {
	full := math.Max(0, thresholdDB-toneDUdB)
	if widthHz <= resolutionHz {
		return -full
	}
	t := math.Log(widthHz/resolutionHz) / math.Log(vsb.SymbolRateHz/2/resolutionHz)
	return -full * math.Max(0, 1-t)
}

// idealCostDB is what a predictor of so many taps, such as a decision-feedback
// equaliser has, loses to a lone carrier that it takes away: of M taps two are
// spent on a real sinusoid, if that stands out of the noise (toNoise is its
// power over the noise's).
func idealCostDB(toNoise float64) float64 {
	return decibel(1 + 2/(equaliserTaps+2/toNoise))
}

// clean is what a channel would have without its intruders.
type clean struct {
	signal float64 // FS² in the channel, pilot included
	noise  float64 // FS² in 6 MHz; all that costs margin, echoes too, as noise
	margin float64 // dB
	pulses float64 // dB that impulses take from it
}

// cleanOf tells what a channel that is present would have without what stands
// under its signal.
func (e *examination) cleanOf(r *measure.Reading) (clean, bool) {
	if r.Margin == nil || r.CN == nil || r.PowerDBFS == nil {
		return clean{}, false
	}
	margin := r.Margin.Value
	if r.UnderCost != nil {
		margin += math.Max(0, r.UnderCost.Value)
	}
	c := clean{pulses: e.pulseCostOn(r)}
	c.margin = margin + c.pulses
	c.signal = linear(r.PowerDBFS.Value) / (1 + linear(-r.CN.Value))
	c.noise = c.signal / linear(c.margin+e.thresholdDB())
	if r.NoiseDBFS != nil {
		// What stands in a part costs less than its mean, and nothing leaves less
		// than the noise floor.
		if least := linear(r.NoiseDBFS.Value - c.pulses); c.noise < least {
			c.noise = least
			c.margin = decibel(c.signal/least) - e.thresholdDB()
		}
	}
	return c, true
}

// addHarm says what an intruder of a power in FS² and a width does to a present
// channel.
func (e *examination) addHarm(s *Suspect, r *measure.Reading, power, widthHz float64) {
	c, ok := e.cleanOf(r)
	if !ok {
		return
	}
	residue := power * linear(residueDB(widthHz, e.thresholdDB()))
	cost := decibel(1 + residue/c.noise)
	h := Harm{
		Channel: r.Channel,
		// How much receivers differ from each other: common practice, no source.
		CostDB: &measure.Estimate{Value: cost, Sigma: math.Min(3, 0.5*cost)},
		Breaks: c.margin-c.pulses >= 0 && c.margin-c.pulses-cost < 0,
	}
	s.Harms = append(s.Harms, h)
	if widthHz == 0 && cost > leastCostDB {
		s.Evidence = append(s.Evidence, fmt.Sprintf(
			"costs a common receiver some %.1f dB (taken to decode with a tone %d dB below a strong signal), an ideal equaliser %.2f dB",
			cost, toneDUdB, idealCostDB(power/c.noise)))
	}
}
