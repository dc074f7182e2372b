package measure

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// AtMostConfidence is the probability with which a station as strong as
// Reading.CNAtMostDB would have been found.
const AtMostConfidence = 0.95

// oneSided is how many standard deviations a normal variable is above with a
// probability of AtMostConfidence's complement.
const oneSided = 1.6449

// atMost says how strong a station on a channel where none was found can be: the
// C/N in 6 MHz, dB, that its pilot would have shown by with AtMostConfidence; nil
// where the pilot's place was not heard. What stands there and is no station hides
// one that is no stronger than it.
//
// The pilot is sought in the mean of K values of a density. With s for a pilot's
// power over the noise in one of them, that mean, relative to the noise, is
// 1 + s ± √((1+2s)/K), and is seen where it exceeds the threshold T of the false
// alarm that was asked for. So with z standard deviations to spare
//
//	s = T − 1 + z²/K + z·√((2T − 1)/K + z²/K²).
//
// Echoes pull a pilot by echoSigmaDB either way, and it may lie between two of the
// spectrum's values, which costs a little of what its window is wide.
func (m *measurer) atMost(r *Reading) *float64 {
	reach := 0.
	if m.clock == nil {
		reach = listen.MaxPPM
	} else if m.clock.Prior {
		reach = 3 * m.clock.PPM.Sigma
	}
	c := r.Channel
	width := 2 * (reach*1e-6*c.PilotHz() + listen.PilotErrorHz)
	least := math.Inf(1)
	for _, s := range m.view.slices {
		for i := range s.Fine {
			f := &s.Fine[i]
			at := s.CenterHz + c.PilotHz()*(1-1/m.view.clock)
			if _, hidden := f.PilotLines(at, reach, m.FalseAlarm); f.Channel != c || hidden {
				continue
			}
			k, threshold := f.Averages(), f.Threshold(width, m.FalseAlarm)
			if !(k > 0) || math.IsNaN(threshold) {
				continue
			}
			z := oneSided * oneSided / k
			ratio := threshold - 1 + z + math.Sqrt((2*threshold-1)*z+z*z)
			power := ratio * f.Around() * f.BandwidthHz()
			density := f.Around()
			if r.NoiseDBFS != nil {
				density = decibel.Power(r.NoiseDBFS.Value) / band.WidthHz
			}
			least = math.Min(least, decibel.Of(impliedCN(power, density)))
		}
	}
	if math.IsInf(least, 1) {
		return nil
	}
	least += oneSided*echoSigmaDB + betweenDB
	if r.Pilot != nil {
		least = math.Max(least, r.Pilot.ImpliedCN.Value+oneSided*r.Pilot.ImpliedCN.Sigma)
	}
	return &least
}

// betweenDB is what a line loses at the most between two values of the fine
// spectrum, which stand a quarter of what is independent apart, or less.
const betweenDB = 0.1
