package site

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
)

const none = -1000 // a channel that was measured and is not there

// tried makes a spot with the margins given, each with the same uncertainty.
// NaN is a channel that was not measured.
func tried(place string, sigma float64, margins ...float64) Spot {
	s := Spot{Place: place, Channels: map[int]Combined{}}
	for i, m := range margins {
		if math.IsNaN(m) {
			continue
		}
		c := Combined{Visits: 1}
		if m != none {
			c.Margin, c.Heard = &measure.Estimate{Value: m, Sigma: sigma}, 1
		}
		s.Channels[7+i] = c
	}
	return s
}

// wants makes wanted channels 7, 8, … of the importances given.
func wants(importance ...int) []Want {
	var w []Want
	for i, n := range importance {
		w = append(w, Want{RFChannel: 7 + i, Importance: n})
	}
	return w
}

func names(r Ranking) string {
	out := ""
	for i, row := range r.Rows {
		if i > 0 {
			out += map[bool]string{true: "=", false: ">"}[row.Rank == r.Rows[i-1].Rank]
		}
		out += row.Spot.Place
	}
	return out
}

// Truth: the rule, worked out by hand.
func TestRank(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		spots  []Spot
		wanted []Want
		want   string
	}{
		"number first":              {[]Spot{tried("a", 1, 15, 15, 15), tried("b", 1, 30, 30, 5)}, wants(1, 1, 1), "a>b"},
		"then the weakest":          {[]Spot{tried("a", 1, 13, 30, 30), tried("b", 1, 20, 20, 20)}, wants(1, 1, 1), "b>a"},
		"the weakest below enough":  {[]Spot{tried("a", 1, 30, 30, 6), tried("b", 1, 20, 20, 1)}, wants(1, 1, 1), "a>b"},
		"cannot be told apart":      {[]Spot{tried("a", 1, 20, 20), tried("b", 1, 20.5, 20.5)}, wants(1, 1), "b=a"},
		"known better, so apart":    {[]Spot{tried("a", 0.25, 20, 20), tried("b", 0.25, 21.5, 21.5)}, wants(1, 1), "b>a"},
		"9.1 is not surely 9":       {[]Spot{tried("a", 1, 9.1, 20), tried("b", 1, 8.9, 20)}, wants(1, 1), "a=b"},
		"importance counts":         {[]Spot{tried("a", 1, 20, 20, 2), tried("b", 1, 2, 2, 20)}, wants(1, 1, 3), "b>a"},
		"two outweigh one":          {[]Spot{tried("a", 1, 20, 20, 2), tried("b", 1, 2, 2, 20)}, wants(1, 1, 1), "a>b"},
		"importance 0 does not":     {[]Spot{tried("a", 1, 20, 2), tried("b", 1, 15, 30)}, wants(1, 0), "a>b"},
		"not there is worse":        {[]Spot{tried("a", 1, 20, none), tried("b", 1, 20, 3)}, wants(1, 1), "b>a"},
		"none there: then the rest": {[]Spot{tried("a", 1, 12, none, 3), tried("b", 1, 20, none, 3), tried("c", 1, 1, none, 1)}, wants(1, 1, 1), "b=a>c"},
		"nobody gives 8":            {[]Spot{tried("a", 1, 20, -8), tried("b", 1, 14, -3)}, wants(1, 1), "a>b"},
		"nobody gives anything":     {[]Spot{tried("a", 1, -4, -15), tried("b", 1, -4, -9)}, wants(1, 1), "b>a"},
		"not measured":              {[]Spot{tried("a", 1, 20, 20), tried("b", 1, 20, nan)}, wants(1, 1), "a=b"},
		"not wanted":                {[]Spot{tried("a", 1, 20, 2), tried("b", 1, 14, 30)}, wants(1), "a>b"},
		"nothing wanted":            {[]Spot{tried("b", 1, 20), tried("a", 1, 3)}, nil, "a=b"},
		"nothing tried":             {nil, wants(1), ""},
		"three ranks":               {[]Spot{tried("a", 1, 30), tried("b", 1, 29.5), tried("c", 1, 20), tried("d", 1, 19.5), tried("e", 1, 2)}, wants(1), "a=b>c=d>e"},
	} {
		r := Rank(c.spots, c.wanted, DefaultOptions())
		require.Equal(t, c.want, names(r), name)
	}
}

// Truth: the documented meaning of each field.
func TestRanking(t *testing.T) {
	nan := math.NaN()
	spots := []Spot{
		tried("attic", 1, 20, 4, none, -6, nan),
		tried("chimney", 1, 15, 7, -12, none, nan),
		tried("gable", 1, 3, 2, none, none, nan),
	}
	r := Rank(spots, append(wants(1, 1, 1, 1, 1), Want{RFChannel: 36}), DefaultOptions())
	require.Equal(t, []int{8}, r.NotEnough)
	require.Equal(t, []int{9, 10}, r.Nowhere)
	require.Equal(t, []int{11}, r.Unmeasured)
	require.Len(t, r.Wanted, 5)
	require.Equal(t, "chimney>attic>gable", names(r))
	best := r.Rows[0]
	require.Equal(t, &spots[1], best.Spot)
	require.Equal(t, 1, best.Rank)
	require.Equal(t, 0.5, best.BestAhead)
	require.Equal(t, []int{7}, best.Enough)
	require.Equal(t, []int{8, 9}, best.Short)
	require.Equal(t, []int{10}, best.Absent)
	require.Equal(t, []int{11}, best.Unmeasured)
	require.Equal(t, &Weakest{8, measure.Estimate{Value: 7, Sigma: 1}}, best.Weakest)
	require.InDelta(t, 1+0.0228, best.Expected, 1e-3) // 7 dB is 2 σ from enough
	require.Equal(t, []int{1, 2, 3}, []int{r.Rows[0].Rank, r.Rows[1].Rank, r.Rows[2].Rank})
	require.Greater(t, r.Rows[2].BestAhead, 0.999)

	// The default of what is enough can be changed.
	o := DefaultOptions()
	o.EnoughDB = 0
	require.Equal(t, []int{7, 8}, Rank(spots, wants(1, 1, 1, 1), o).Rows[0].Enough)
}

// literally is the rule as it is written, on certain margins. No channel may
// be one that nobody decodes.
func literally(a, b []float64, weight []int) int {
	sum := func(m []float64) (number, absent int, weakest float64) {
		weakest = math.Inf(1)
		for i, x := range m {
			switch {
			case x == none:
				absent++
				continue
			case x >= 9:
				number += weight[i]
			}
			weakest = min(weakest, x)
		}
		return number, absent, weakest
	}
	na, aa, wa := sum(a)
	nb, ab, wb := sum(b)
	return cmp.Or(cmp.Compare(na, nb), cmp.Compare(ab, aa), cmp.Compare(wa, wb))
}

// Truth: the rule itself: where margins are certain, the order is exactly its.
func TestRankIsTheRule(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		weight := make([]int, 1+r.IntN(6))
		for i := range weight {
			weight[i] = 1 + r.IntN(3)
		}
		var lists [][]float64
		var spots []Spot
		all := make([]float64, len(weight)) // so that each is decoded somewhere
		for i := range all {
			all[i] = 40
		}
		for k := range 8 {
			list := slices.Clone(all)
			for i := range list {
				list[i] = float64(r.IntN(12))*4 - 5 // 2 dB and more from 9 dB
				if r.IntN(5) == 0 {
					list[i] = none
				}
			}
			if k == 0 {
				copy(list, all)
			}
			lists = append(lists, list)
			spots = append(spots, tried(fmt.Sprint(k), 0, list...))
		}
		ranked := Rank(spots, wants(weight...), DefaultOptions())
		at := func(i int) []float64 {
			var k int
			fmt.Sscan(ranked.Rows[i].Spot.Place, &k)
			return lists[k]
		}
		for i := 1; i < len(spots); i++ {
			c := literally(at(i-1), at(i), weight)
			require.GreaterOrEqual(t, c, 0, "%v before %v, weights %v", at(i-1), at(i), weight)
			require.Equal(t, c > 0, ranked.Rows[i].Rank != ranked.Rows[i-1].Rank, "%v, %v", at(i-1), at(i))
		}
	}
}

// Truth: a Monte Carlo of the rule as it is written.
func TestBetterIsProbability(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 25 {
		weight := make([]int, 2+r.IntN(4))
		weakest := make([]bool, len(weight))
		for i := range weight {
			weight[i], weakest[i] = 1+r.IntN(3), true
		}
		draw := func() []margin {
			list := make([]margin, len(weight))
			for i := range list {
				list[i] = margin{measured: true, present: r.IntN(8) > 0, mean: 4 + 12*r.Float64(), sigma: 0.5 + 3*r.Float64()}
			}
			return list
		}
		a, b := draw(), draw()
		sample := func(list []margin) []float64 {
			out := make([]float64, len(list))
			for i, m := range list {
				out[i] = none
				if m.present {
					out[i] = m.mean + m.sigma*r.NormFloat64()
				}
			}
			return out
		}
		const n = 20000
		var wins, number float64
		for range n {
			x, y := sample(a), sample(b)
			wins += float64(1+literally(x, y, weight)) / 2 / n
			for i, v := range x {
				if v >= 9 {
					number += float64(weight[i]) / n
				}
			}
		}
		c := newContest(9, weight, weakest)
		oa, ob := c.outcome(a), c.outcome(b)
		require.InDelta(t, wins, better(oa, ob), 4*0.5/math.Sqrt(n)+0.003, "%v\n%v", a, b)
		require.InDelta(t, 1, better(oa, ob)+better(ob, oa), 1e-9)
		require.InDelta(t, 0.5, better(oa, oa), 1e-9)
		require.Equal(t, math.Floor(c.score(a)) <= number+1, true)
		require.InDelta(t, number, c.score(a), 1.02)
		require.GreaterOrEqual(t, c.score(a), number-0.1)
	}
}

// drawSpots makes spots at random, with channels that are missing, unmeasured
// and uncertain.
func drawSpots(r *rand.Rand, spots, channels int) []Spot {
	var out []Spot
	for k := range spots {
		s := Spot{Place: fmt.Sprint("place ", k/2), BearingDeg: ptr(float64(90 * (k % 2))), Channels: map[int]Combined{}}
		for i := range channels {
			switch r.IntN(12) {
			case 0:
				s.Channels[7+i] = Combined{Visits: 1}
			case 1:
			default:
				s.Channels[7+i] = Combined{Visits: 1, Heard: 1, Margin: &measure.Estimate{Value: 40*r.Float64() - 10, Sigma: 0.3 + 2*r.Float64()}}
			}
		}
		out = append(out, s)
	}
	return out
}

// Truth: properties that any sensible ranking has.
func TestRankProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 150 {
		channels := 1 + r.IntN(6)
		wanted := wants(make([]int, channels)...)
		for i := range wanted {
			wanted[i].Importance = r.IntN(4)
		}
		spots := drawSpots(r, 1+r.IntN(8), channels)
		o := DefaultOptions()
		first := Rank(spots, wanted, o)
		winner := first.Rows[0].Spot.String()

		// The order of what is given makes no difference.
		mixedSpots, mixedWanted := slices.Clone(spots), slices.Clone(wanted)
		r.Shuffle(len(mixedSpots), func(i, j int) { mixedSpots[i], mixedSpots[j] = mixedSpots[j], mixedSpots[i] })
		r.Shuffle(len(mixedWanted), func(i, j int) { mixedWanted[i], mixedWanted[j] = mixedWanted[j], mixedWanted[i] })
		require.Equal(t, first, Rank(mixedSpots, mixedWanted, o))

		// A spot that is nowhere better than another does not change who wins,
		// nor what is said of the others.
		base := spots[r.IntN(len(spots))]
		worse := Spot{Place: "worse", Channels: map[int]Combined{}}
		for rf, c := range base.Channels {
			if m := c.Margin; m != nil {
				c.Margin = &measure.Estimate{Value: m.Value - 10*r.Float64(), Sigma: m.Sigma}
				if r.IntN(4) == 0 {
					c.Margin = nil
				}
			}
			if r.IntN(6) > 0 {
				worse.Channels[rf] = c
			}
		}
		more := Rank(append(slices.Clone(spots), worse), wanted, o)
		require.Equal(t, winner, more.Rows[0].Spot.String())
		require.Equal(t, first.NotEnough, more.NotEnough)
		at := slices.IndexFunc(more.Rows, func(row Row) bool { return row.Spot.Place == "worse" })
		require.GreaterOrEqual(t, more.Rows[0].Score, more.Rows[at].Score)

		// Ranks are as documented.
		for i, row := range first.Rows {
			require.True(t, row.Rank == i+1 || i > 0 && row.Rank == first.Rows[i-1].Rank)
			require.Equal(t, row.Rank == 1, i == 0 || row.BestAhead < o.Confidence)
		}

		// More of everything is never worse.
		lift := 5 * r.Float64()
		better := slices.Clone(spots)
		k := slices.IndexFunc(better, func(s Spot) bool { return s.String() == winner })
		lifted := Spot{Place: better[k].Place, BearingDeg: better[k].BearingDeg, Channels: map[int]Combined{}}
		for rf, c := range better[k].Channels {
			if m := c.Margin; m != nil {
				c.Margin = &measure.Estimate{Value: m.Value + lift, Sigma: m.Sigma}
			}
			lifted.Channels[rf] = c
		}
		better[k] = lifted
		require.Equal(t, winner, Rank(better, wanted, o).Rows[0].Spot.String())
	}
}

// Truth: the definition of Confidence, on simulated visits: of two places that
// are alike, at most 2·(1 − Confidence) are told apart wrongly, and of places that
// were told apart the better one comes first.
func TestToldApart(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 8))
	o := DefaultOptions()
	wanted := wants(1, 1, 1)
	visit := func(place string, truth []float64) Mark {
		m := Mark{Time: noon, Place: place}
		for i, x := range truth {
			const sigma = 0.5
			m.Heard = append(m.Heard, Heard{RFChannel: 7 + i, Margin: &measure.Estimate{
				Value: x + math.Hypot(sigma, o.RepeatDB)*r.NormFloat64(), Sigma: sigma}})
		}
		return m
	}
	const n = 1500
	apart, wrong, told := 0, 0, 0
	for range n {
		a := []float64{12 + 6*r.Float64(), 12 + 6*r.Float64(), 12 + 6*r.Float64()}
		same := Rank(Spots([]Mark{visit("a", a), visit("b", a)}, o), wanted, o)
		if same.Rows[1].Rank != 1 {
			apart++
		}
		b := []float64{12 + 6*r.Float64(), 12 + 6*r.Float64(), 12 + 6*r.Float64()}
		other := Rank(Spots([]Mark{visit("a", a), visit("b", b)}, o), wanted, o)
		if other.Rows[1].Rank != 1 {
			told++
			if (slices.Min(a) > slices.Min(b)) != (other.Rows[0].Spot.Place == "a") {
				wrong++
			}
		}
	}
	t.Logf("alike and told apart: %.1f %%; different and told apart: %.0f %%, of these wrongly: %.1f %%",
		100*float64(apart)/n, 100*float64(told)/n, 100*float64(wrong)/float64(told))
	require.Less(t, float64(apart)/n, 2*(1-o.Confidence))
	require.Greater(t, float64(told)/n, 0.15)
	require.Less(t, float64(wrong)/float64(told), 1-o.Confidence)
}

// Truth: statistics of weighted means, worked out by hand.
func TestSpots(t *testing.T) {
	o := DefaultOptions()
	mark := func(minutes int, place string, bearing, height *float64, value *float64) Mark {
		m := Mark{Time: noon.Add(time.Duration(minutes) * time.Minute), Place: place, BearingDeg: bearing, HeightM: height}
		h := Heard{RFChannel: 22, Presence: measure.Vacant}
		if value != nil {
			h.Presence, h.Margin = measure.Present, &measure.Estimate{Value: *value, Sigma: 0}
		}
		m.Heard = []Heard{h}
		return m
	}
	marks := []Mark{
		mark(30, "roof", ptr(91.0), nil, ptr(12.0)),
		mark(0, "Roof ", ptr(90.0), nil, ptr(10.0)),
		mark(1, "roof", ptr(359.5), nil, ptr(3.0)),
		mark(2, "ROOF", ptr(0.5), nil, ptr(3.5)),
		mark(3, "roof", nil, nil, ptr(1.0)),
		mark(4, "roof", ptr(90.0), ptr(3.0), ptr(20.0)),
		mark(5, "roof", ptr(90.0), ptr(3.3), ptr(28.0)),
		mark(6, "roof", ptr(90.0), ptr(3.1), ptr(20.0)),
		mark(7, "attic", nil, nil, ptr(5.0)),
		mark(8, "attic", nil, nil, nil),
		mark(9, "shed", nil, nil, nil),
		mark(10, "shed", nil, nil, ptr(4.0)),
	}
	spots := Spots(marks, o)
	var got []string
	for i := range spots {
		c := spots[i].Channels[22]
		text := "none"
		if c.Margin != nil {
			text = fmt.Sprintf("%.2f±%.2f", c.Margin.Value, c.Margin.Sigma)
		}
		got = append(got, fmt.Sprintf("%v: %s, heard %d of %d, scatter %.2f", &spots[i], text, c.Heard, c.Visits, c.ScatterDB))
	}
	// One visit: RepeatDB. Two: RepeatDB/√2 where they scatter less than it
	// explains, and else their half difference: 12 and 10 are 11 ± 1.
	require.Equal(t, []string{
		"attic: none, heard 1 of 2, scatter 0.00",
		"roof: 1.00±1.00, heard 1 of 1, scatter 0.00",
		"Roof, 90° E: 11.00±1.00, heard 2 of 2, scatter 1.41",
		"roof, 90° E, 3 m: 20.00±0.71, heard 2 of 2, scatter 0.00",
		"roof, 90° E, 3.3 m: 28.00±1.00, heard 1 of 1, scatter 0.00",
		"roof, 0° N: 3.25±0.71, heard 2 of 2, scatter 0.35",
		"shed: 4.00±1.00, heard 1 of 2, scatter 0.00",
	}, got)
	for i := range spots {
		visits := MarksOf(&spots[i], marks, o)
		require.Len(t, visits, len(spots[i].Visits))
		for k, m := range visits {
			require.Equal(t, spots[i].Visits[k], m.Time)
		}
		h, m := Latest(visits, 22)
		require.Same(t, visits[len(visits)-1], m)
		require.Equal(t, spots[i].Channels[22].Presence, h.Presence)
	}
	require.Equal(t, []time.Time{noon, noon.Add(30 * time.Minute)}, spots[2].Visits)

	slices.Reverse(marks)
	require.Equal(t, spots, Spots(marks, o), "the order of marks makes no difference")

	o.Since = noon.Add(20 * time.Minute)
	require.Len(t, Spots(marks, o), 1)
}

// Truth: statistics, on simulated visits: the stated uncertainty of a mean is
// what means scatter by.
func TestMeanIsHonest(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	o := DefaultOptions()
	for _, visits := range []int{1, 3, 6} {
		var z2 float64
		const n = 4000
		for range n {
			var list []measure.Estimate
			for range visits {
				sigma := 0.2 + 2*r.Float64()
				list = append(list, measure.Estimate{Value: math.Hypot(sigma, o.RepeatDB) * r.NormFloat64(), Sigma: sigma})
			}
			m, _ := o.mean(list)
			z2 += m.Value * m.Value / (m.Sigma * m.Sigma) / n
		}
		t.Logf("%d visits: rms of error over uncertainty %.2f", visits, math.Sqrt(z2))
		require.InDelta(t, 1, math.Sqrt(z2), 0.2)
	}
}

func ExampleRank() {
	mark := func(place string, bearing float64, ch7, ch22 float64) Mark {
		return Mark{Time: noon, Place: place, BearingDeg: &bearing, Heard: []Heard{
			{RFChannel: 7, Margin: &measure.Estimate{Value: ch7, Sigma: 0.3}},
			{RFChannel: 22, Margin: &measure.Estimate{Value: ch22, Sigma: 0.3}},
		}}
	}
	spots := Spots([]Mark{
		mark("attic", 135, 12, 4), mark("chimney", 135, 16, 11.5), mark("chimney", 150, 15, 12), mark("gable", 135, 2, 17),
	}, DefaultOptions())
	r := Rank(spots, []Want{{7, "Hill", 1}, {22, "Quarry", 1}}, DefaultOptions())
	for _, row := range r.Rows {
		fmt.Printf("%d. %v: %d enough, the weakest RF %d with %.1f dB\n",
			row.Rank, row.Spot, len(row.Enough), row.Weakest.RFChannel, row.Weakest.Margin.Value)
	}
	// Output:
	// 1. chimney, 150° SSE: 2 enough, the weakest RF 22 with 12.0 dB
	// 1. chimney, 135° SE: 2 enough, the weakest RF 22 with 11.5 dB
	// 3. attic, 135° SE: 1 enough, the weakest RF 22 with 4.0 dB
	// 3. gable, 135° SE: 1 enough, the weakest RF 7 with 2.0 dB
}
