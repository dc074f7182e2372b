package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rooftone/scan/band"
)

// order drops what the front end accounts for and what costs next to nothing,
// keeps the wanted channels' harms, and sorts by cost, a little more for what
// breaks a channel; what does no harm comes last, and of that the radio's own.
func (l *listener) order(f *finding, all []Suspect) []Suspect {
	var out []Suspect
	whole := slices.IndexFunc(all, func(s Suspect) bool { return s.whole })
	for _, s := range all {
		if f.explained(&s) {
			continue
		}
		if whole >= 0 && s.Kind == Product && !s.whole {
			all[whole].take(&s)
		}
	}
	for _, s := range all {
		if f.explained(&s) || whole >= 0 && s.Kind == Product && !s.whole || partOf(&s, all) {
			continue
		}
		s.Harms = slices.DeleteFunc(slices.Clone(s.Harms), func(h Harm) bool { return !slices.Contains(l.Channels, h.Channel) })
		out = append(out, s)
	}
	markRows(out)
	out = join(out)
	rank := func(s *Suspect) float64 {
		r := s.WorstDB()
		if slices.ContainsFunc(s.Harms, func(h Harm) bool { return h.Breaks }) {
			const breaksDB = 2 // as if it cost so much more
			r += breaksDB
		}
		if s.Kind == Spur {
			r -= 1
		}
		return r
	}
	slices.SortStableFunc(out, func(a, b Suspect) int { return cmp.Compare(rank(&b), rank(&a)) })
	return out
}

// partOf reports whether a raised floor is no more than the foot of a product
// that was found by itself, and costs about as much.
func partOf(s *Suspect, all []Suspect) bool {
	if s.Kind != RaisedFloor || s.FrequencyHz == nil {
		return false
	}
	return slices.ContainsFunc(all, func(o Suspect) bool {
		return o.Kind == Product && !o.whole && o.FrequencyHz != nil &&
			math.Abs(o.FrequencyHz.Value-s.FrequencyHz.Value) < (s.WidthHz+o.WidthHz)/2 && s.WorstDB() < o.WorstDB()+3
	})
}

// take counts what one product does as a part of what all of them do.
func (s *Suspect) take(one *Suspect) {
	for _, h := range one.Harms {
		i := slices.IndexFunc(s.Harms, func(o Harm) bool { return o.Channel == h.Channel })
		switch {
		case i < 0:
			s.Harms = append(s.Harms, h)
		case h.CostDB != nil && (s.Harms[i].CostDB == nil || s.Harms[i].CostDB.Value < h.CostDB.Value):
			s.Harms[i] = h
		}
	}
	slices.SortStableFunc(s.Harms, func(a, b Harm) int { return cmp.Compare(costOf(&b), costOf(&a)) })
	const most = 8 // lines of evidence
	if len(one.Evidence) > 0 && len(s.Evidence) < most {
		s.Evidence = slices.Insert(s.Evidence, 0, fmt.Sprintf("at %.2f MHz %s", one.FrequencyHz.Value/1e6, one.Evidence[0]))
	}
}

func costOf(h *Harm) float64 {
	if h.CostDB == nil {
		return 0
	}
	return h.CostDB.Value
}

// explained reports whether a suspect inside a channel is no more than what
// the receiver's products put there.
func (f *finding) explained(s *Suspect) bool {
	switch s.Kind {
	case RaisedFloor, CoChannel, Splatter, Impulses:
		if s.WorstDB() < leastInsideDB {
			return true
		}
	}
	if f.skirtOfFM(s) {
		return true
	}
	if f.front == nil {
		return false
	}
	switch s.Kind {
	case RaisedFloor, CoChannel, Splatter, Carrier:
	default:
		return false
	}
	if len(s.Harms) == 0 {
		if s.FrequencyHz == nil {
			return false
		}
		for _, c := range f.channels() {
			if hz := s.FrequencyHz.Value; hz >= c.LowerHz && hz < c.UpperHz() {
				return f.made(c, f.gainNow(c), nil) > 0.1 || f.ownRise(c)
			}
		}
		return false
	}
	c, cost := s.Harms[0].Channel, s.WorstDB()
	made := decibel(1 + f.made(c, f.gainNow(c), nil))
	return made > 0.15 && made > 0.4*cost
}

// skirtOfFM reports whether what harms nobody stands no higher beside an FM
// station than that may send there: up to 240 kHz from its middle 25 dB below
// it, 47 CFR 73.317(b).
func (f *finding) skirtOfFM(s *Suspect) bool {
	const reachHz, belowDB = 300e3, 25
	if s.Kind != Carrier && s.Kind != RaisedFloor || len(s.Harms) > 0 || s.FrequencyHz == nil || s.LevelDBFS == nil {
		return false
	}
	level := f.levelOf(s)
	return slices.ContainsFunc(f.emitter, func(e Emitter) bool {
		return e.Service == "fm" && math.Abs(e.middleHz()-s.FrequencyHz.Value) < reachHz+s.WidthHz/2 && level < e.power*linear(-belowDB)
	})
}

// ownRise reports whether a channel's floor was seen to rise faster than the
// gain.
func (f *finding) ownRise(c band.Channel) bool {
	for i := range f.rungs {
		if r := &f.rungs[i]; r.channel == c {
			return r.order != 0 && r.made > 0.1*r.alpha
		}
	}
	return false
}
