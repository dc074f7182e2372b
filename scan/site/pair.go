package site

import (
	"cmp"
	"slices"
)

// Pair is two antennas at once, each at its own spot; a receiver takes each
// channel from the one that gives it the greater margin. How the two are
// brought together, and what that costs, is not counted.
type Pair struct {
	Spots [2]*Spot // in the order of their names
	From  []int    // which of the two gives each of Ranking.Wanted, 0 or 1; −1: neither

	Serving

	// Gained are the wanted channels that have enough margin with both and
	// that the best single spot does not give enough of.
	Gained []int

	// Ahead is the probability that the pair serves better than the best
	// single spot. It takes the two as measured apart from each other, also
	// where they share a spot, which makes it err towards 0.5.
	Ahead float64
}

// maxPaired is how many spots are tried as halves of a pair: those that serve
// best alone.
const maxPaired = 500

// Pairs returns the n best pairs of spots, the best first, by the same rule as
// Rank. If the first one's Ahead is below Options.Confidence, a second antenna
// is not known to be worth anything. A pair of which one antenna would do as
// well is left out.
func Pairs(spots []Spot, wanted []Want, o Options, n int) []Pair {
	f := newField(spots, wanted, o)
	order := f.order(spots)
	if len(order) == 0 || n < 1 {
		return nil
	}
	best := f.margins[order[0]]
	order = order[:min(len(order), maxPaired)]
	slices.SortFunc(order, func(a, b int) int { return bySpot(spots[a], spots[b]) })
	for _, i := range order {
		f.prepare(f.margins[i])
	}
	var pairs []Pair
	for i, a := range order {
		for _, b := range order[i+1:] {
			both, from := f.both(f.margins[a], f.margins[b])
			if !slices.Contains(from, 0) || !slices.Contains(from, 1) {
				continue
			}
			pairs = append(pairs, Pair{Spots: [2]*Spot{&spots[a], &spots[b]}, From: from, Serving: Serving{Score: f.score(both)}})
			if len(pairs) >= 2*n+100 {
				pairs = bestPairs(pairs, n)
			}
		}
	}
	pairs = bestPairs(pairs, n)
	alone, single := f.outcome(best), f.serving(best)
	for i := range pairs {
		p := &pairs[i]
		both, _ := f.both(f.marginsOf(p.Spots[0]), f.marginsOf(p.Spots[1]))
		p.Serving = f.serving(both)
		p.Ahead = better(f.outcome(both), alone)
		for _, rf := range p.Enough {
			if !slices.Contains(single.Enough, rf) {
				p.Gained = append(p.Gained, rf)
			}
		}
	}
	return pairs
}

// bestPairs keeps the n pairs with the highest scores, in order.
func bestPairs(pairs []Pair, n int) []Pair {
	slices.SortStableFunc(pairs, func(a, b Pair) int { return cmp.Compare(b.Score, a.Score) })
	return pairs[:min(n, len(pairs))]
}

// order returns the spots' indices, the best first.
func (f *field) order(spots []Spot) []int {
	scores := make([]float64, len(spots))
	order := make([]int, len(spots))
	for i := range order {
		order[i], scores[i] = i, f.score(f.margins[i])
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(scores[b], scores[a]), bySpot(spots[a], spots[b]))
	})
	return order
}

// both takes each channel from the spot with the greater margin.
func (f *field) both(a, b []margin) (list []margin, from []int) {
	list, from = make([]margin, len(a)), make([]int, len(a))
	for i := range a {
		switch {
		case a[i].present && (!b[i].present || a[i].mean >= b[i].mean):
			list[i], from[i] = a[i], 0
		case b[i].present:
			list[i], from[i] = b[i], 1
		default:
			list[i], from[i] = margin{measured: a[i].measured && b[i].measured}, -1
		}
	}
	return list, from
}
