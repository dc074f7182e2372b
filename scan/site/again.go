package site

import (
	"cmp"
	"math"
	"slices"
)

// Unclear is a spot of a later visit that could be one of several of an earlier
// one, or that lacks what would tell. It is put together with none of them.
type Unclear struct {
	Spot  *Spot
	Among []*Spot // in order of bearing and height
	// NoHeading says that it is the heading that is missing, on either side.
	NoHeading bool
}

// group is marks of one spot, in order of time.
type group []*Mark

// seat is where a group or a spot is.
type seat struct {
	key             string // of the place
	bearing, height *float64
}

// seat of a group: the first heading, and the first height that was told.
func (g group) seat() seat {
	s := seat{key: placeKey(g[0].Place), bearing: g[0].BearingDeg}
	for _, m := range g {
		if s.height == nil {
			s.height = m.HeightM
		}
	}
	return s
}

func (s *Spot) seat() seat { return seat{placeKey(s.Place), s.BearingDeg, s.HeightM} }

// groups puts the marks of each visit together, and then the visits, in order
// of time. What was not put together because it was not clear with what is told
// by index: the group, and those that it could belong to.
func (o Options) groups(visits []*Mark) (all []group, unclear []doubt) {
	for len(visits) > 0 {
		n := 1
		for n < len(visits) && visits[n].Time.Sub(visits[n-1].Time) <= o.VisitGap {
			n++
		}
		today := o.oneVisit(visits[:n])
		visits = visits[n:]
		to, doubts := o.again(seats(all), seats(today))
		index := make([]int, len(today))
		for i, g := range today {
			if index[i] = to[i]; index[i] < 0 {
				index[i] = len(all)
				all = append(all, g)
				continue
			}
			all[to[i]] = append(all[to[i]], g...)
		}
		for _, d := range doubts {
			d.index = index[d.index]
			unclear = append(unclear, d)
		}
	}
	return all, unclear
}

func seats(list []group) []seat {
	out := make([]seat, len(list))
	for i, g := range list {
		out[i] = g.seat()
	}
	return out
}

// oneVisit puts the marks of one visit together.
func (o Options) oneVisit(marks []*Mark) []group {
	var groups []group
	byPlace := map[string][]int{}
	for _, m := range marks {
		name := placeKey(m.Place)
		at := slices.IndexFunc(byPlace[name], func(g int) bool { return o.sameSpot(groups[g][0], m) })
		if at < 0 {
			byPlace[name] = append(byPlace[name], len(groups))
			groups = append(groups, group{m})
			continue
		}
		g := byPlace[name][at]
		groups[g] = append(groups[g], m)
	}
	return groups
}

// doubt is a seat of a later visit that could be one of several earlier ones.
type doubt struct {
	index     int
	among     []int
	noHeading bool
}

// again finds for each seat of a later visit the one among the earlier that it
// is, or -1. Those that are where they were, as far as one visit tells seats
// apart, are taken first, the nearest first. Of the rest, what a hand that finds
// a place again may be off by is allowed for, wherever it is clear which is
// meant: neither could be another. A heading that was not told is never taken
// for one that was.
func (o Options) again(before, since []seat) (to []int, unclear []doubt) {
	to = make([]int, len(since))
	taken := make([]bool, len(before))
	type pair struct {
		b, s int
		far  float64
	}
	var exact []pair
	for s := range since {
		to[s] = -1
		for b := range before {
			if o.exactly(before[b], since[s]) {
				exact = append(exact, pair{b, s, o.far(before[b], since[s])})
			}
		}
	}
	slices.SortStableFunc(exact, func(x, y pair) int { return cmp.Compare(x.far, y.far) })
	for _, p := range exact {
		if to[p.s] < 0 && !taken[p.b] {
			to[p.s], taken[p.b] = p.b, true
		}
	}
	could := func(s int) (list []int) {
		for b := range before {
			if !taken[b] && o.byHand(before[b], since[s]) {
				list = append(list, b)
			}
		}
		return list
	}
	for again := true; again; {
		again = false
		wanted := map[int]int{} // how many could be this one
		for s := range since {
			if to[s] < 0 {
				for _, b := range could(s) {
					wanted[b]++
				}
			}
		}
		for s := range since {
			if to[s] >= 0 {
				continue
			}
			if list := could(s); len(list) == 1 && wanted[list[0]] == 1 {
				to[s], taken[list[0]], again = list[0], true, true
			}
		}
	}
	for s := range since {
		if to[s] >= 0 {
			continue
		}
		d := doubt{index: s, among: could(s)}
		if len(d.among) == 0 {
			d.noHeading = true
			for b := range before {
				x, y := before[b], since[s]
				if !taken[b] && x.key == y.key && (x.bearing == nil) != (y.bearing == nil) && o.heights(x.height, y.height, o.HandM) {
					d.among = append(d.among, b)
				}
			}
		}
		if len(d.among) > 0 {
			unclear = append(unclear, d)
		}
	}
	return to, unclear
}

// exactly reports whether two seats are one as far as one visit tells.
func (o Options) exactly(a, b seat) bool {
	return a.key == b.key && o.sameSpot(&Mark{BearingDeg: a.bearing, HeightM: a.height}, &Mark{BearingDeg: b.bearing, HeightM: b.height})
}

// byHand reports whether two seats may be one that was found again by hand. A
// height that was not told may be any.
func (o Options) byHand(a, b seat) bool {
	switch {
	case a.key != b.key, (a.bearing == nil) != (b.bearing == nil):
		return false
	case a.bearing != nil && bearingApart(*a.bearing, *b.bearing) > math.Max(o.HandDeg, o.BearingToleranceDeg)+1e-9:
		return false
	}
	return o.heights(a.height, b.height, o.HandM)
}

func (o Options) heights(a, b *float64, tolerance float64) bool {
	return a == nil || b == nil || math.Abs(*a-*b) <= math.Max(tolerance, o.HeightToleranceM)+1e-9
}

// far is how far apart two seats are, each way in units of what one visit tells
// apart.
func (o Options) far(a, b seat) float64 {
	var deg, m float64
	if a.bearing != nil && b.bearing != nil && o.BearingToleranceDeg > 0 {
		deg = bearingApart(*a.bearing, *b.bearing) / o.BearingToleranceDeg
	}
	if a.height != nil && b.height != nil && o.HeightToleranceM > 0 {
		m = math.Abs(*a.height-*b.height) / o.HeightToleranceM
	}
	return math.Hypot(deg, m)
}

// AgainAt returns which of some places, each with a heading and a height, are
// meant by one that was told: those that are it to the letter, else those that
// a hand may have meant. A heading or height that was not told may be any.
func AgainAt(spots []*Spot, place string, bearingDeg, heightM *float64, o Options) []*Spot {
	told := seat{placeKey(place), bearingDeg, heightM}
	var exact, near []*Spot
	for _, s := range spots {
		at := s.seat()
		if told.bearing == nil {
			at.bearing = nil
		}
		if told.height == nil {
			at.height = nil
		}
		if o.exactly(at, told) {
			exact = append(exact, s)
		}
		if o.byHand(at, told) {
			near = append(near, s)
		}
	}
	if len(exact) > 0 {
		return exact
	}
	return near
}
