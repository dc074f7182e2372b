package decide

import (
	"cmp"
	"slices"
	"time"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// candidate is one place and heading.
type candidate struct {
	spot    *site.Spot
	turn    bool
	beliefs []belief // in the order of field.wanted
}

// knowledge is what is known of a channel at a place.
type knowledge int

const (
	unknown knowledge = iota
	absent            // not there, or too weak to say how weak
	heard
	other // there, by another standard
)

// belief is one wanted channel at one place.
type belief struct {
	known       knowledge
	mean, sigma float64 // dB, where it was heard
	worth
}

// field is the candidates of a house, prepared to be compared.
type field struct {
	world  world
	o      site.Options
	wanted []site.Want // that count, ascending by RF channel
	weight []float64   // of each; 0 where it says nothing of any place
	spots  []candidate
	places []*turned
	prior  []float64 // that a channel that was not measured at a place holds there

	headings []Single

	notEnough, nowhere, unmeasured, otherStandard []int
}

func newField(spots []site.Spot, turns []site.TurnRecord, wanted []site.Want, o site.Options) *field {
	f := &field{world: newWorld(o.EnoughDB), o: o}
	for _, w := range wanted {
		if w.Importance > 0 {
			f.wanted = append(f.wanted, w)
		}
	}
	slices.SortFunc(f.wanted, func(a, b site.Want) int { return cmp.Compare(a.RFChannel, b.RFChannel) })
	for _, w := range f.wanted {
		if otherStandard(spots, w.RFChannel) {
			f.otherStandard = append(f.otherStandard, w.RFChannel)
		}
	}
	spots = slices.Clone(spots)
	slices.SortFunc(spots, func(a, b site.Spot) int { return a.Compare(&b) })
	f.places = f.turnedPlaces(spots, turns)
	for i := range spots {
		s, p := spots[i], f.at(&spots[i])
		if p != nil && s.BearingDeg != nil {
			s = p.supply(f, s)
		}
		f.spots = append(f.spots, candidate{spot: &s, beliefs: f.beliefs(&s)})
	}
	f.summarise()
	for _, p := range f.places {
		if h := p.single(f); h != nil {
			f.headings = append(f.headings, *h)
			f.join(p, h)
		}
	}
	slices.SortStableFunc(f.headings, func(a, b Single) int { return cmp.Compare(b.Value, a.Value) })
	f.summarise()
	return f
}

// join makes the best single heading of a turn a row, unless it was marked.
func (f *field) join(p *turned, h *Single) {
	if p.turn == nil {
		return
	}
	for i := range f.spots {
		s := f.spots[i].spot
		if s.BearingDeg != nil && p.is(s, f.o) && apart(*s.BearingDeg, h.Heading.Value) <= f.o.BearingToleranceDeg {
			return
		}
	}
	s := p.spot(f, h.Heading.Value)
	f.spots = append(f.spots, candidate{spot: &s, turn: true, beliefs: f.beliefs(&s)})
}

// otherStandard reports whether the latest proof of what sends on a channel is
// of ATSC 3.0.
func otherStandard(spots []site.Spot, rfChannel int) bool {
	var latest time.Time
	var found measure.Standard
	for i := range spots {
		c, ok := spots[i].Channels[rfChannel]
		proof := c.Standard == measure.ATSC3 || c.Standard == measure.ATSC1
		if ok && proof && (found == "" || c.Latest.After(latest) || c.Latest.Equal(latest) && c.Standard == measure.ATSC3) {
			latest, found = c.Latest, c.Standard
		}
	}
	return found == measure.ATSC3
}

// beliefs lists what is known of the wanted channels at a place.
func (f *field) beliefs(s *site.Spot) []belief {
	list := make([]belief, len(f.wanted))
	for i, w := range f.wanted {
		c, ok := s.Channels[w.RFChannel]
		switch {
		case slices.Contains(f.otherStandard, w.RFChannel):
			if ok {
				list[i].known = other
			}
		case !ok:
		case c.Margin == nil:
			list[i].known = absent
		default:
			list[i] = f.believe(c.Margin.Value, c.Margin.Sigma)
		}
	}
	return list
}

func (f *field) believe(mean, sigma float64) belief {
	sigma = max(sigma, leastSigmaDB)
	return belief{heard, mean, sigma, f.world.of(mean, sigma)}
}

// summarise says of each wanted channel what all places together give.
func (f *field) summarise() {
	f.weight, f.prior = make([]float64, len(f.wanted)), make([]float64, len(f.wanted))
	f.notEnough, f.nowhere, f.unmeasured = nil, nil, nil
	for i, w := range f.wanted {
		var measured, decodes, enough bool
		sum, n := 0.5, 1.0
		for k := range f.spots {
			b := f.spots[k].beliefs[i]
			if b.known == unknown || b.known == other {
				continue
			}
			measured = true
			sum, n = sum+b.holds, n+1
			decodes = decodes || b.known == heard && b.mean >= 0
			enough = enough || b.known == heard && b.mean >= f.o.EnoughDB
		}
		f.prior[i] = sum / n // Laplace's rule of succession
		switch {
		case slices.Contains(f.otherStandard, w.RFChannel):
			continue
		case !measured:
			f.unmeasured = append(f.unmeasured, w.RFChannel)
			continue
		case !decodes:
			f.nowhere = append(f.nowhere, w.RFChannel)
		case !enough:
			f.notEnough = append(f.notEnough, w.RFChannel)
		}
		f.weight[i] = float64(w.Importance)
	}
}

// serving says what beliefs give.
func (f *field) serving(list []belief) Serving {
	var s Serving
	for i, b := range list {
		w := f.wanted[i]
		c := Chance{RFChannel: w.RFChannel, Measured: b.known != unknown, Other: b.known == other, Decodes: b.decodes, Holds: b.holds}
		switch b.known {
		case unknown:
			if !slices.Contains(f.otherStandard, w.RFChannel) {
				s.Unmeasured = append(s.Unmeasured, w.RFChannel)
			}
		case absent:
			s.Absent = append(s.Absent, w.RFChannel)
		case heard:
			c.Margin = &measure.Estimate{Value: b.mean, Sigma: b.sigma}
			if b.mean >= f.o.EnoughDB {
				s.Enough = append(s.Enough, w.RFChannel)
			} else {
				s.Short = append(s.Short, w.RFChannel)
			}
			s.Expected += normal((b.mean - f.o.EnoughDB) / b.sigma)
			if f.given(w.RFChannel) && (s.Weakest == nil || b.mean < s.Weakest.Margin.Value) {
				s.Weakest = &Weakest{w.RFChannel, *c.Margin}
			}
		}
		s.Value += f.weight[i] * b.value
		s.Chances = append(s.Chances, c)
	}
	return s
}

// given reports whether some place decodes a channel; where none decodes any,
// all are: the one that comes nearest is all there is.
func (f *field) given(rfChannel int) bool {
	if len(f.nowhere) == len(f.wanted)-len(f.unmeasured)-len(f.otherStandard) {
		return true
	}
	return !slices.Contains(f.nowhere, rfChannel)
}
