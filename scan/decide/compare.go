package decide

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

const (
	// smallChange is what is not worth a measurement: a twentieth of a channel.
	smallChange = 0.05

	// faintDB: a channel that was not found is certainly weaker than this. The
	// meter and the sweep find it some 10 dB below (see the README).
	faintDB = -10.0
)

// comparison is what speaks for one place, against another.
type comparison struct {
	standing Standing
	behind   float64 // probability that the other serves better
	most     float64 // how much better it could be at the best
	promise  float64 // what knowing would be worth on average, in channels
	measure  []int   // channels to measure here that could turn the choice
	there    []int   // and at the other
	won      int     // channels that are certainly better here
	lost     int     // and at the other

	among          int     // differences that are tested: of each channel measured at both, and of all
	shift, spread  float64 // all channels together that decode at either: difference and variance, dB
	mean, variance float64 // of the difference, in channels
	again          []int   // channels that are not known well
	vaguest        int     // the one that is known worst, and the variance that it adds
	vague          float64
}

// compare weighs a place against one that has at least its value.
func (f *field) compare(mine, best []belief) comparison {
	c := comparison{among: f.common(mine, best) + 1}
	for i := range f.wanted {
		if f.weight[i] > 0 {
			c.add(f, i, mine[i], best[i])
		}
	}
	sd := math.Sqrt(c.variance)
	c.behind = 0.5
	if sd > 0 {
		z := c.mean / sd
		c.behind = normal(-z)
		c.promise = math.Max(0, sd*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)+c.mean*normal(z))
	} else if c.mean != 0 {
		c.behind = b2f(c.mean < 0)
		c.promise = math.Max(0, c.mean)
	}
	f.stand(&c)
	return c
}

// add weighs one wanted channel. What was not measured holds with its prior
// probability, and could hold or not.
func (c *comparison) add(f *field, i int, a, b belief) {
	k, p, rf := f.weight[i], f.prior[i], f.wanted[i].RFChannel
	doubt := p * (1 - p)
	switch {
	case a.known == unknown && b.known == unknown:
		c.variance += 2 * k * k * doubt
		c.most += k
		c.measure, c.there = append(c.measure, rf), append(c.there, rf)
	case a.known == unknown:
		c.mean += k * (p - b.value)
		c.variance += k * k * (doubt + b.square)
		c.most += k * (1 - b.value)
		c.measure = append(c.measure, rf)
	case b.known == unknown:
		c.mean += k * (a.value - p)
		c.variance += k * k * (doubt + a.square)
		c.most += k * a.value
		c.there = append(c.there, rf)
	default:
		d, v := k*(a.value-b.value), k*k*(a.square+b.square)
		c.mean += d
		c.variance += v
		c.most += d
		if math.Sqrt(v) > smallChange {
			c.again = append(c.again, rf)
		}
		if v > c.vague {
			c.vague, c.vaguest = v, rf
		}
		if a.known == heard && b.known == heard && math.Max(a.mean, b.mean) >= 0 {
			c.shift += k * (a.mean - b.mean)
			c.spread += k * k * (a.sigma*a.sigma + b.sigma*b.sigma)
		}
		if !certain(a, b, c.among, f.o) {
			return
		}
		if a.known == heard && (b.known != heard || a.mean > b.mean) {
			c.won++
		} else {
			c.lost++
		}
	}
}

// stand concludes.
func (f *field) stand(c *comparison) {
	sure := 1 - (1-f.o.Confidence)/2 // a test of two sides, as for the channels
	if len(c.again) == 0 && c.vague > 0 {
		c.again = []int{c.vaguest}
	}
	// Many channels that are a little stronger say together what none says alone.
	if math.Abs(c.shift) > certainSigmas(c.among, f.o)*math.Sqrt(c.spread) {
		c.won, c.lost = c.won+int(b2f(c.shift > 0)), c.lost+int(b2f(c.shift < 0))
	}
	asked := len(c.measure) > 0 || len(c.there) > 0
	switch {
	case asked && c.most > smallChange:
		c.standing = Open
	case !asked && c.promise >= smallChange && c.behind < sure:
		c.standing, c.measure, c.there = Open, c.again, c.again
	case c.behind >= sure || asked || c.lost > 0 && c.won == 0:
		c.standing = Behind
	case c.won+c.lost > 0:
		c.standing = Different
	default:
		c.standing = Equal
	}
	switch {
	case c.standing != Open:
		c.measure, c.there, c.most, c.promise = nil, nil, 0, 0
	case !asked: // what a second look could change is not much more than that
		c.most = c.promise
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// common is how many channels were measured at both.
func (f *field) common(a, b []belief) int {
	n := 0
	for i := range a {
		if f.weight[i] > 0 && a[i].known != unknown && b[i].known != unknown {
			n++
		}
	}
	return n
}

// certain reports whether two margins differ by more than chance: by a
// two-sided test that leaves 1 − Confidence for all channels of two places
// together (Bonferroni).
func certain(a, b belief, among int, o site.Options) bool {
	limit := certainSigmas(among, o)
	switch {
	case a.known == heard && b.known == heard:
		return math.Abs(a.mean-b.mean) > limit*math.Hypot(a.sigma, b.sigma)
	case a.known == heard && b.known == absent:
		return a.mean-faintDB > limit*a.sigma
	case a.known == absent && b.known == heard:
		return b.mean-faintDB > limit*b.sigma
	}
	return false
}

// certainSigmas is how many standard uncertainties a difference must have, among
// so many that are tested.
func certainSigmas(among int, o site.Options) float64 {
	return math.Sqrt2 * math.Erfcinv((1-o.Confidence)/float64(max(1, among)))
}

// Versus is one place against another, channel by channel.
type Versus struct {
	First, Second *site.Spot
	Channels      []Difference // in the order of Ranking.Wanted
}

// Difference is what one wanted channel gains or loses at the first of two
// places against the second.
type Difference struct {
	RFChannel     int
	First, Second Chance
	Margin        *measure.Estimate // first less second; nil unless both have one
	Certain       bool              // more than chance
	Gained        bool              // the first is certainly better
	Lost          bool              // certainly worse
}

// Against sets one row against another, channel by channel.
func (r *Ranking) Against(first, second *Row) *Versus {
	v := &Versus{First: first.Spot, Second: second.Spot}
	among := 1 // as in comparison
	for i := range first.Chances {
		if first.Chances[i].Measured && second.Chances[i].Measured {
			among++
		}
	}
	for i, w := range r.Wanted {
		d := Difference{RFChannel: w.RFChannel, First: first.Chances[i], Second: second.Chances[i]}
		a, b := d.First.belief(), d.Second.belief()
		if a.known == heard && b.known == heard {
			d.Margin = &measure.Estimate{Value: a.mean - b.mean, Sigma: math.Hypot(a.sigma, b.sigma)}
		}
		if d.Certain = certain(a, b, among, r.Options); d.Certain {
			d.Gained = b.known == absent || a.known == heard && a.mean > b.mean
			d.Lost = !d.Gained
		}
		v.Channels = append(v.Channels, d)
	}
	return v
}

// belief is a chance as places are compared by it.
func (c Chance) belief() belief {
	switch {
	case c.Other:
		return belief{known: other}
	case !c.Measured:
		return belief{}
	case c.Margin == nil:
		return belief{known: absent}
	}
	return belief{known: heard, mean: c.Margin.Value, sigma: c.Margin.Sigma}
}

// Lead is a wanted channel that another place certainly gives more of than the
// best one.
type Lead struct {
	RFChannel int
	Here      Chance     // at the best place
	There     Chance     // where it is strongest
	Spot      *site.Spot // that is there
	// MoreDB is by how much; nil where the channel has no margin at the best
	// place.
	MoreDB *measure.Estimate
	// Matters is set where the channel has less than enough at the best place, and
	// decodes at the other.
	Matters bool
}

// givenUp lists what the first row is certainly worse on than another row, or
// than another heading of its own turn.
func (f *field) givenUp(rows []Row) []Lead {
	best := f.beliefs(rows[0].Spot)
	var out []Lead
	for i, w := range f.wanted {
		var lead *Lead
		consider := func(s *site.Spot, b belief, among int) {
			if b.known != heard || f.weight[i] == 0 || !certain(b, best[i], among, f.o) || best[i].known == heard && b.mean < best[i].mean {
				return
			}
			if lead == nil || b.mean > lead.There.Margin.Value {
				lead = &Lead{RFChannel: w.RFChannel, Here: rows[0].Chances[i], Spot: s, There: Chance{
					RFChannel: w.RFChannel, Measured: true, Margin: &measure.Estimate{Value: b.mean, Sigma: b.sigma}, Decodes: b.decodes, Holds: b.holds}}
			}
		}
		for k := range rows[1:] {
			b := f.beliefs(rows[k+1].Spot)
			consider(rows[k+1].Spot, b[i], f.common(b, best)+1)
		}
		for _, p := range f.places {
			if p.turn == nil {
				continue
			}
			if g, ok := p.peak(w.RFChannel); ok {
				s := p.spot(f, float64(g))
				b := f.beliefs(&s)
				if lead == nil || b[i].mean > lead.There.Margin.Value+b[i].sigma {
					consider(&s, b[i], f.common(b, best)+1)
				}
			}
		}
		if lead == nil {
			continue
		}
		if h := lead.Here.Margin; h != nil {
			lead.MoreDB = &measure.Estimate{Value: lead.There.Margin.Value - h.Value, Sigma: math.Hypot(lead.There.Margin.Sigma, h.Sigma)}
		}
		lead.Matters = lead.There.Margin.Value >= 0 && (lead.Here.Margin == nil || lead.Here.Margin.Value < f.o.EnoughDB)
		out = append(out, *lead)
	}
	return out
}

// Step is a measurement that may change which place is the best.
type Step struct {
	Spot     *site.Spot
	Channels []int
	// CouldGain and Promise are as in Row: in channels.
	CouldGain, Promise float64
	Best               bool // it is the best place itself that lacks them
	Again              bool // they were measured there, not well enough
}

// next lists what to measure next.
func (f *field) next(rows []Row) []Step {
	best := f.beliefs(rows[0].Spot)
	var out []Step
	lacking := map[int]bool{}
	var most, promise float64
	for k := range rows[1:] {
		row := &rows[k+1]
		if row.Standing != Open {
			continue
		}
		c := f.compare(f.beliefs(row.Spot), best)
		again := len(row.Unmeasured) == 0 && len(rows[0].Unmeasured) == 0
		if len(c.measure) > 0 {
			out = append(out, Step{Spot: row.Spot, Channels: c.measure, CouldGain: c.most, Promise: c.promise, Again: again})
		}
		for _, rf := range c.there {
			lacking[rf] = true
		}
		most, promise = math.Max(most, c.most), math.Max(promise, c.promise)
	}
	slices.SortStableFunc(out, func(a, b Step) int { return cmp.Compare(b.Promise, a.Promise) })
	if len(lacking) == 0 {
		return out
	}
	s := Step{Spot: rows[0].Spot, CouldGain: most, Promise: promise, Best: true, Again: len(rows[0].Unmeasured) == 0}
	for _, w := range f.wanted {
		if lacking[w.RFChannel] {
			s.Channels = append(s.Channels, w.RFChannel)
		}
	}
	return append(out, s)
}
