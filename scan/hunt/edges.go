package hunt

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan/band"
)

// edge is a place beside a station's channel, or at its end, where the station
// is weak enough for a broad product to show.
type edge struct {
	low, high float64 // true
}

const (
	// mostEdged is beside how many stations products of one order are looked for.
	mostEdged = 2

	// endHz is how far to either side of an edge between two channels both
	// stations are some 20 dB weaker than in their middle, and freeHz from where
	// to where a channel's side that no channel touches is free.
	endHz            = 50e3
	freeHz, beyondHz = 150e3, 2e6
)

// edges are the places beside the stations that the strongest products are
// predicted under, for want of a channel without a station that shows them as
// well.
func (s *scene) edges(all []mix) []edge {
	type under struct {
		c    band.Channel
		unit float64
	}
	var out []edge
	for _, order := range []int{2, 3} {
		var list []under
		shown := 0.0
		for i := range s.survey.Channels {
			r := &s.survey.Channels[i].Reading
			u := unit(all, order, r.Channel.LowerHz, r.Channel.UpperHz())
			if isStation(r) {
				list = append(list, under{r.Channel, u})
			} else {
				shown = math.Max(shown, u)
			}
		}
		slices.SortStableFunc(list, func(a, b under) int { return cmp.Compare(b.unit, a.unit) })
		const well = 4 // a vacant channel that has this part of it shows it
		for i, x := range list {
			if i == mostEdged || x.unit <= shown*well {
				break
			}
			out = s.addEdge(out, x.c, x.c.LowerHz, -1)
			out = s.addEdge(out, x.c, x.c.UpperHz(), 1)
		}
	}
	return out
}

// addEdge adds what lies at one end of a station's channel, once.
func (s *scene) addEdge(out []edge, c band.Channel, hz, side float64) []edge {
	beside := c
	beside.LowerHz += side * band.WidthHz
	for i := range s.survey.Channels {
		if r := &s.survey.Channels[i].Reading; r.Channel.LowerHz == beside.LowerHz && !isStation(r) {
			return out // which is climbed by itself
		}
	}
	e := edge{hz - endHz, hz + endHz}
	if !slices.ContainsFunc(s.plan, func(o band.Channel) bool { return o.LowerHz == beside.LowerHz }) {
		e = edge{hz + freeHz, hz + beyondHz}
		if side < 0 {
			e = edge{hz - beyondHz, hz - freeHz}
		}
	}
	if slices.Contains(out, e) {
		return out
	}
	return append(out, e)
}

// center is where to tune to see it beside the spike.
func (e edge) center() float64 {
	if e.high-e.low > 1e6 {
		return (e.low + e.high) / 2
	}
	return e.high + 300e3
}

// edgeRungs climbs the edges. What they show over the receiver's noise is told
// as a line's power is: products, and a steady part of whatever else is there.
func (s *scene) edgeRungs(edges []edge, parents []Emitter, rho, alpha float64, bits int) []lineRungs {
	var out []lineRungs
	if math.IsNaN(alpha) {
		return nil // what is there besides noise is not known
	}
	ladders := s.ladders()
	for _, e := range edges {
		var best []rung
		for i := range ladders {
			if r := ladders[i].floors(s.topDB, e.low/s.clock, e.high/s.clock, bits); len(r) > len(best) {
				best = r
			}
		}
		if len(best) < 3 {
			continue
		}
		width := e.high - e.low
		for i := range best {
			x := &best[i]
			x.value = (x.value - alpha*(1+rho/x.gain)) * width
			const known = 0.05 // of the noise here, which was read elsewhere
			x.sigma = math.Hypot(x.sigma, known*alpha*rho/x.gain) * width
		}
		there := mixesWhere(parents, func(low, high float64) bool { return high > e.low && low < e.high })
		out = append(out, lineRungs{
			hz: (e.low + e.high) / 2, rungs: best,
			second: unit(there, 2, e.low, e.high), third: unit(there, 3, e.low, e.high),
		})
	}
	return out
}
