package cure

import "rooftone/scan/band"

// Origin says where a channel's noise comes from, each as a share of all that the
// signal stands against.
type Origin struct {
	Channel  band.Channel
	Index    int
	Outside  Interval // by the antenna
	Line     Interval // cable, splitters, amplifiers before the receiver
	Receiver Interval
	Products Interval // of strong signals, made in the receiver
	Under    Interval // other stations on the same frequencies
	// Told says what of the house's own measurements this rests on: "bare", "head";
	// "" where it rests on what is common.
	Told string
}

// Origins says where the noise comes from in every channel in which noise counts.
func (p *Predictor) Origins() []Origin {
	m := p.m
	var out []Origin
	for i := range m.Channels {
		if !m.Channels[i].hopeful() {
			continue
		}
		c := m.Channels[i].Channel
		o := Origin{Channel: c, Index: i}
		part := func(of func(*state) float64) Interval {
			values := make([]float64, draws)
			for d := range values {
				s := &m.slices[d][i]
				values[d] = of(s) / s.all()
			}
			return m.interval(values)
		}
		o.Outside = part(func(s *state) float64 { return s.outside })
		o.Line = part(func(s *state) float64 { return s.line })
		o.Receiver = part(func(s *state) float64 { return s.receiver })
		o.Products = part(func(s *state) float64 { return s.second + s.third })
		o.Under = part(func(s *state) float64 { return s.under })
		if _, ok := m.Head[c.Number]; ok {
			o.Told = "head"
		}
		if _, ok := m.bare(c.CenterHz()); ok {
			o.Told = "bare"
		}
		out = append(out, o)
	}
	return out
}

// AtMost is the most that any amplifier at the antenna could bring to each channel:
// one of 30 dB and a noise figure of 1 dB, before a receiver that nothing overloads.
func (p *Predictor) AtMost() []ChannelOutcome {
	best := Part{Kind: Amplifier, Text: "30dB/1dB", Gain: exactly(30), Noise: exactly(1), Output: exactly(60)}
	s := *p.m.Setup
	s.Overload, s.Fixed = &Overload{}, false
	return New(s).Predict(Change{Name: "the best amplifier", Head: []Part{best}}).Channels
}
