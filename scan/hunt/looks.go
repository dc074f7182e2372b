package hunt

import (
	"cmp"
	"context"
	"math"
	"slices"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

// secondLooks goes back to the tones: tuned a little aside, at a lower gain,
// and if it can be arranged without the antenna.
func (l *listener) secondLooks(ctx context.Context) error {
	l.tones = tonesOf(l.inside.Suspects(l.survey.Clock, l.readings()))
	l.tones = l.tones[:min(len(l.tones), mostTones)]
	clock, _ := clockOf(l.survey.Clock)
	l.what, l.done, l.total = "second looks at tones", 0, 2*len(l.tones)
	for _, s := range l.tones {
		hz := s.FrequencyHz.Value / clock
		for k, g := range l.lookGains(s.FrequencyHz.Value) {
			center := hz + asideHz*(1-2*float64(k))
			if err := l.stay(ctx, tuner.Tuning{CenterHz: center, RateHz: l.RateHz, GainDB: g}, spurDwell); err != nil {
				return err
			}
		}
	}
	if l.Terminate == nil {
		return nil
	}
	if err := l.Terminate(ctx); err != nil {
		return err
	}
	l.ear.off = true
	l.what, l.done, l.total = "the radio alone", 0, len(l.tones)
	for _, s := range l.tones {
		center := s.FrequencyHz.Value/clock + withoutHz
		to := tuner.Tuning{CenterHz: center, RateHz: l.RateHz, GainDB: l.lookGains(s.FrequencyHz.Value)[0]}
		if err := l.stay(ctx, to, spurDwell); err != nil {
			return err
		}
	}
	return nil
}

// tonesOf are the suspects that a second look tells more of, the most harmful
// first.
func tonesOf(found []Suspect) []Suspect {
	var out []Suspect
	for _, s := range found {
		if (s.Kind == Tone || s.Kind == Spur || s.Kind == Carrier) && s.FrequencyHz != nil {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b Suspect) int { return cmp.Compare(b.WorstDB(), a.WorstDB()) })
	return out
}

// lookGains are the gains for second looks at a frequency: the one that its
// channel was measured at, and one some 7 dB lower when there is one.
func (l *listener) lookGains(hz float64) []float64 {
	all := l.gains()
	high := all[0]
	for i := range l.survey.Channels {
		r := &l.survey.Channels[i].Reading
		if hz >= r.Channel.LowerHz && hz < r.Channel.UpperHz() && r.GainDB != nil {
			high = *r.GainDB
		}
	}
	const lowerDB = 7
	low := high
	for _, g := range all {
		if g < high && math.Abs(high-lowerDB-g) < math.Abs(high-lowerDB-low) {
			low = g
		}
	}
	if low == high || math.IsNaN(high) {
		return []float64{high}
	}
	return []float64{high, low}
}

// stepGains are those of the gain-step test: close together at the top, where a
// vacant channel's noise still fills the converter's steps.
func (l *listener) stepGains() []float64 {
	all := l.gains()
	var out []float64
	for _, belowDB := range []float64{0, 1.6, 3.2, 4.8, 8, 13} {
		nearest := all[0]
		for _, g := range all {
			if math.Abs(all[0]-belowDB-g) < math.Abs(all[0]-belowDB-nearest) {
				nearest = g
			}
		}
		if !slices.Contains(out, nearest) {
			out = append(out, nearest)
		}
	}
	return out
}

// steps climbs up and down where products may be seen.
func (l *listener) steps(ctx context.Context) error {
	gains := l.stepGains()
	if len(gains) < 2 {
		return nil
	}
	s := l.scene()
	s.find(l.services(), nil)
	centers := l.ladderCenters(s)
	l.what, l.done, l.total = "the gain-step test", 0, len(centers)*len(gains)
	for _, hz := range centers {
		for _, g := range gains {
			if err := l.stay(ctx, tuner.Tuning{CenterHz: hz, RateHz: l.RateHz, GainDB: g}, stepDwell); err != nil {
				return err
			}
		}
	}
	return nil
}

// rungPlace is the middle of the slice of a channel to climb: that which clearly
// shows the most, or else that which the most of a product is predicted in. Like
// all of what is climbed it only chooses where to listen: what is heard there is
// judged by itself.
func (l *listener) rungPlace(s *scene, c band.Channel, all []mix) float64 {
	const clearly, trifle = 1.26, 1.1
	loudest, predicted := c.CenterHz(), math.NaN()
	var levels []float64
	most, share := 0.0, 0.0
	for _, hz := range scan.Hops(c, l.RateHz) {
		low, high := max(hz-1e6, c.LowerHz+150e3), min(hz+1e6, c.UpperHz()-150e3)
		for _, x := range s.stays {
			if math.Abs(x.centerHz-hz) > 1e3 || x.off {
				continue
			}
			level := x.perGain(x.floor(low, high))
			levels = append(levels, level)
			if level > most*trifle {
				loudest, most = hz, level
			}
		}
		// Each order in parts of what it puts into the channel.
		p := 0.0
		for _, order := range []int{2, 3} {
			if whole := unit(all, order, c.LowerHz, c.UpperHz()); whole > 0 {
				p += unit(all, order, low*s.clock, high*s.clock) / whole
			}
		}
		if p > share {
			predicted, share = hz, p
		}
	}
	if !math.IsNaN(predicted) && most < clearly*quantile(levels, 0.5) {
		return predicted
	}
	return loudest
}

// ladderCenters are the loudest slices of the channels without a station, and the
// places of the strongest narrow products where no station hides them.
func (l *listener) ladderCenters(s *scene) []float64 {
	var out []float64
	all := mixes(s.parents(), l.channels())
	for i := range l.survey.Channels {
		r := &l.survey.Channels[i].Reading
		if r.Heard() && !isStation(r) && len(out) < mostLadders {
			out = append(out, l.rungPlace(s, r.Channel, all))
		}
	}
	for _, e := range s.edges(all) {
		out = append(out, e.center()/s.clock)
	}
	for _, p := range s.narrow(all, l.survey) {
		if len(out) >= mostLadders+mostProducts {
			break
		}
		hz := p/s.clock + 300e3 // beside the spike
		if !slices.ContainsFunc(out, func(o float64) bool { return math.Abs(o-hz) < 600e3 && math.Abs(o-p) > 50e3 }) {
			out = append(out, hz)
		}
	}
	return out
}
