package decide

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan/site"
)

const (
	// CombinerLossDB is what a passive combiner takes from each of its two
	// antennas, and a two-way splitter from each of its sets: 3 dB for the
	// halving and half a decibel of its own. Common practice, no source.
	CombinerLossDB = 3.5

	// worthIt is how many channels two antennas must add to be worth it.
	worthIt = 0.5

	// mostPaired is how many candidates are tried as halves of a pair: those
	// of most value alone.
	mostPaired = 400

	pairStepDeg = 5 // between the headings of a turn that are tried
)

// Pair is two antennas at once, each at its own place and heading.
type Pair struct {
	Spots [2]*site.Spot // in the order of their names
	From  []int         // which of the two gives each of Ranking.Wanted, 0 or 1; −1: neither

	// Serving is what both give when each channel is taken from the one that
	// gives more of it: with separate inputs, a switch, or one antenna on a
	// rotator. What joining costs is in Joined.
	Serving

	// Gained are the wanted channels that have enough margin with both, and
	// that the best place alone is known not to give enough of.
	Gained []int

	Gain  float64 // in channels, over the best place alone as good as it could be
	Ahead float64 // probability that the pair serves better than the best place alone
	Worth bool    // it is probable, and enough to be worth a second antenna

	// Rotator is set where one antenna that is turned would do, for one channel
	// at a time: both are at one place and height.
	Rotator bool

	// Joined is each of Ranking.Wanted behind a combiner; Serves those of them
	// that have enough margin there at the worst, Falls those that have enough
	// with separate inputs and may not behind a combiner.
	Joined        []Joined
	Serves, Falls []int
	LossDB        float64 // of the combiner
}

// Joined is a channel behind a combiner of two antennas: what one gives, less
// the combiner's loss, and what the other's share of the same station does to
// it. The two paths differ by some feet of air and cable, so that they add or
// cancel alike over the whole channel: between 20·log₁₀(1 + r) and
// 20·log₁₀(1 − r) dB, r being the ratio of their amplitudes. Which of it, only
// trying tells.
type Joined struct {
	RFChannel int
	WorstDB   *float64 // margin; nil where neither antenna gives the channel, or the two may cancel
	BestDB    *float64
}

// pair finds the best two antennas.
func (f *field) pair(r *Ranking) *Pair {
	list := f.halves(r.Rows)
	var best *Pair
	most := 0.0
	for i := range list {
		for k := range i {
			a, b := list[k], list[i]
			both, from := both(a.beliefs, b.beliefs)
			if !slices.Contains(from, 0) || !slices.Contains(from, 1) {
				continue
			}
			if v := f.value(both); best == nil || v > most+1e-9 {
				most = v
				best = &Pair{Spots: [2]*site.Spot{a.spot, b.spot}, From: from}
			}
		}
	}
	if best == nil {
		return nil
	}
	f.conclude(best, r)
	return best
}

// halves are the candidates for one of two antennas, in the order of their
// names: what was marked, and the headings of turns.
func (f *field) halves(rows []Row) []candidate {
	list := slices.Clone(f.spots)
	for _, p := range f.places {
		if p.turn == nil {
			continue
		}
		for g := 0; g < 360; g += pairStepDeg {
			if !p.covered[g] {
				continue
			}
			near := func(c candidate) bool {
				return c.spot.BearingDeg != nil && p.is(c.spot, f.o) && apart(*c.spot.BearingDeg, float64(g)) <= 2*pairStepDeg
			}
			if slices.ContainsFunc(f.spots, near) { // what was marked is as good, and known better
				continue
			}
			s := p.spot(f, float64(g))
			list = append(list, candidate{spot: &s, turn: true, beliefs: f.beliefs(&s)})
		}
	}
	if len(list) > mostPaired {
		slices.SortStableFunc(list, func(a, b candidate) int {
			return cmp.Compare(f.value(b.beliefs), f.value(a.beliefs))
		})
		list = list[:mostPaired]
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return a.spot.Compare(b.spot) })
	return list
}

// value is what is known of a place, in channels.
func (f *field) value(list []belief) float64 {
	sum := 0.0
	for i := range list {
		sum += f.weight[i] * list[i].value
	}
	return sum
}

// both takes each channel from the one with the greater margin.
func both(a, b []belief) (list []belief, from []int) {
	list, from = make([]belief, len(a)), make([]int, len(a))
	for i := range a {
		switch {
		case a[i].known == heard && (b[i].known != heard || a[i].mean >= b[i].mean):
			list[i], from[i] = a[i], 0
		case b[i].known == heard:
			list[i], from[i] = b[i], 1
		default:
			list[i], from[i] = belief{known: max(a[i].known, b[i].known)}, -1
			if a[i].known == unknown || b[i].known == unknown {
				list[i].known = unknown
			}
		}
	}
	return list, from
}

// conclude says what a pair is worth, and how to join it.
func (f *field) conclude(p *Pair, r *Ranking) {
	a, b := f.beliefs(p.Spots[0]), f.beliefs(p.Spots[1])
	list, _ := both(a, b)
	p.Serving = f.serving(list)
	alone := f.beliefs(r.Rows[0].Spot)
	var mean, variance float64
	for i := range list {
		k := f.weight[i]
		x, y := list[i], alone[i]
		switch {
		case y.known == unknown:
			// It may do as well alone: the pair gains nothing that is known.
		case x == y && (sameSpot(p.Spots[p.from(i)], r.Rows[0].Spot)):
			// The very same antenna: no difference, however uncertain.
		default:
			mean += k * (x.value - y.value)
			variance += k * k * (x.square + y.square)
		}
		if rf := f.wanted[i].RFChannel; slices.Contains(p.Enough, rf) && y.known != unknown && !slices.Contains(r.Rows[0].Enough, rf) {
			p.Gained = append(p.Gained, rf)
		}
	}
	p.Gain = mean
	switch {
	case variance > 0:
		p.Ahead = normal(mean / math.Sqrt(variance))
	default:
		p.Ahead = 0.5 + 0.5*b2f(mean > 0)
	}
	p.Worth = p.Gain >= worthIt && p.Ahead >= f.o.Confidence
	here := site.TurnRecord{Place: p.Spots[0].Place, HeightM: p.Spots[0].HeightM}
	p.Rotator = here.At(p.Spots[1].Place, p.Spots[1].HeightM, f.o) && p.Spots[0].BearingDeg != nil && p.Spots[1].BearingDeg != nil
	f.combine(p, a, b)
}

// from is which of the two gives a channel; the first where neither does.
func (p *Pair) from(i int) int { return max(0, p.From[i]) }

func sameSpot(a, b *site.Spot) bool { return a.Compare(b) == 0 }

// combine works out the channels behind a combiner.
func (f *field) combine(p *Pair, a, b []belief) {
	p.LossDB = CombinerLossDB
	for i, w := range f.wanted {
		j := Joined{RFChannel: w.RFChannel}
		strong, weak := a[i], b[i]
		if p.From[i] == 1 {
			strong, weak = weak, strong
		}
		if strong.known == heard {
			r := 0.0
			switch weak.known {
			case heard:
				r = math.Pow(10, -(strong.mean-weak.mean)/20)
			case unknown:
				r = 1 // it may be as strong
			case absent:
				r = math.Pow(10, -math.Max(0, strong.mean-faintDB)/20)
			}
			best := strong.mean - CombinerLossDB + 20*math.Log10(1+r)
			j.BestDB = &best
			if r < 0.99 {
				worst := strong.mean - CombinerLossDB + 20*math.Log10(1-r)
				j.WorstDB = &worst
			}
			switch enough := strong.mean >= f.o.EnoughDB; {
			case j.WorstDB != nil && *j.WorstDB >= f.o.EnoughDB:
				p.Serves = append(p.Serves, w.RFChannel)
			case enough:
				p.Falls = append(p.Falls, w.RFChannel)
			}
		}
		p.Joined = append(p.Joined, j)
	}
}
