package hunt

import (
	"fmt"
	"math"
	"slices"

	"rooftone/scan/measure"
)

// standAt gives what the receiver makes the places of its narrow products, those
// in the most harmed channel first. What fills a channel has no place in it.
func (s *Suspect) standAt(products []Combination) {
	const countsDB, most = -10, 12 // what is fainter does a tenth of a dB or two
	var width float64
	for _, h := range s.Harms {
		for i := range products {
			p := &products[i]
			in := p.FrequencyHz >= h.Channel.LowerHz && p.FrequencyHz < h.Channel.UpperHz()
			if !in || p.ToNoiseDB < countsDB || p.WidthHz > 2*narrowHz || len(s.PlacesHz) == most {
				continue
			}
			if len(s.PlacesHz) == 0 {
				width = p.WidthHz
				s.FrequencyHz = &measure.Estimate{Value: p.FrequencyHz, Sigma: math.Hypot(p.SigmaHz, p.WidthHz/math.Sqrt(12))}
			}
			if !slices.ContainsFunc(s.PlacesHz, func(hz float64) bool { return math.Abs(hz-p.FrequencyHz) < p.WidthHz/2 }) {
				s.PlacesHz = append(s.PlacesHz, p.FrequencyHz)
			}
		}
	}
	s.WidthHz = width
	if len(s.PlacesHz) == 1 {
		s.PlacesHz = nil
	}
}

// oneGain says of what stands in a channel that one gain cannot tell whether the
// receiver makes it, and of what if that is known.
func (f *finding) oneGain(list []Suspect) {
	if len(f.ladders()) > 0 {
		return
	}
	for i := range list {
		s := &list[i]
		if s.Kind != Tone && s.Kind != Carrier && s.Kind != RaisedFloor || s.FrequencyHz == nil {
			continue
		}
		doubt := "one gain was heard: whether the receiver makes it of strong signals is not known"
		if m := f.mixAt(s.FrequencyHz.Value, s.WidthHz); m != nil {
			doubt = fmt.Sprintf("the receiver may make it itself, of %s, which is at that place: one gain does not tell", m.formula(f.parents))
			s.Next = "lower the gain by some dB: what the receiver makes falls by two or three times as many; else " + s.Next
			s.Cure = f.cure() + " when the receiver makes it; else " + s.Cure
		}
		s.Evidence = append(s.Evidence, doubt)
	}
}
