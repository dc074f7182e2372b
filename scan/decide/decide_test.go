package decide

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

const none = -1000 // a channel that was measured and is not there

var noon = time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

// tried makes a spot with the margins given, each with the same uncertainty.
// NaN is a channel that was not measured.
func tried(place string, sigma float64, margins ...float64) site.Spot {
	s := site.Spot{Place: place, Channels: map[int]site.Combined{}}
	for i, m := range margins {
		if math.IsNaN(m) {
			continue
		}
		c := site.Combined{Visits: 1}
		if m != none {
			c.Margin, c.Heard = &measure.Estimate{Value: m, Sigma: sigma}, 1
		}
		s.Channels[7+i] = c
	}
	return s
}

// wants makes wanted channels 7, 8, … of the importances given.
func wants(importance ...int) []site.Want {
	var w []site.Want
	for i, n := range importance {
		w = append(w, site.Want{RFChannel: 7 + i, Importance: n})
	}
	return w
}

func rank(spots []site.Spot, wanted []site.Want) *Ranking {
	return Rank(spots, nil, wanted, site.DefaultOptions())
}

// order writes a ranking in short: = for equal, ? for open, ~ for different.
func order(r *Ranking) string {
	out := ""
	for i, row := range r.Rows {
		if i > 0 {
			out += map[Standing]string{Equal: "=", Open: "?", Different: "~", Behind: ">"}[row.Standing]
		}
		out += row.Spot.Place
	}
	return out
}

// Truth: the rule, worked out by hand, with the normal distribution's tables.
func TestRank(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		spots  []site.Spot
		wanted []site.Want
		want   string
	}{
		"one that does not hold costs more": {[]site.Spot{tried("a", 1, 15, 15, 15), tried("b", 1, 30, 30, 2)}, wants(1, 1, 1), "a>b"},
		"importance counts":                 {[]site.Spot{tried("a", 1, 20, 20, 2), tried("b", 1, 2, 2, 20)}, wants(1, 1, 3), "b~a"},
		"two outweigh one":                  {[]site.Spot{tried("a", 1, 20, 20, 3), tried("b", 1, 1, 1, 20)}, wants(1, 1, 1), "a>b"},
		"importance 0 does not":             {[]site.Spot{tried("a", 1, 20, 2), tried("b", 1, 5, 30)}, wants(1, 0), "a>b"},
		"cannot be told apart":              {[]site.Spot{tried("a", 1, 20, 20), tried("b", 1, 20.5, 20.5)}, wants(1, 1), "b=a"},
		"9.1 is not surely 9":               {[]site.Spot{tried("a", 1, 9.1, 20), tried("b", 1, 8.9, 20)}, wants(1, 1), "a=b"},
		// The example that the rule of steps got wrong: both have enough or
		// straddle it, and one is 6.7 dB weaker on a channel, for certain.
		"6.7 dB are not equal":        {[]site.Spot{tried("a", 1, 8, 9.2), tried("b", 1, 1.3, 9)}, wants(1, 1), "a>b"},
		"nor where both have plenty":  {[]site.Spot{tried("a", 1, 26.7, 20), tried("b", 1, 20, 20)}, wants(1, 1), "a>b"},
		"many a little weaker":        {[]site.Spot{tried("a", 1, 14, 14, 14, 14), tried("b", 1, 11, 11, 11, 11)}, wants(1, 1, 1, 1), "a>b"},
		"as good by other channels":   {[]site.Spot{tried("a", 1, 25, 14), tried("b", 1, 14, 25)}, wants(1, 1), "a~b"},
		"not there is worse":          {[]site.Spot{tried("a", 1, 20, none), tried("b", 1, 20, 3)}, wants(1, 1), "b>a"},
		"nobody gives 8":              {[]site.Spot{tried("a", 1, 20, -12), tried("b", 1, 8, -7)}, wants(1, 1), "a>b"},
		"nobody gives anything":       {[]site.Spot{tried("a", 1, -6, -15), tried("b", 1, -6, -9)}, wants(1, 1), "b>a"},
		"not measured":                {[]site.Spot{tried("a", 1, 20, 7), tried("b", 1, 20, nan)}, wants(1, 1), "a?b"},
		"nothing better to be found":  {[]site.Spot{tried("a", 1, 20, 20), tried("b", 1, 20, nan)}, wants(1, 1), "a>b"},
		"measured nowhere":            {[]site.Spot{tried("a", 1, 20, nan), tried("b", 1, 2, nan)}, wants(1, 1), "a>b"},
		"unknown, but it cannot win":  {[]site.Spot{tried("a", 1, 20, 20, 2), tried("b", 1, -9, 20, nan)}, wants(1, 1, 1), "a>b"},
		"the best lacks what is good": {[]site.Spot{tried("a", 1, 20, 20, nan), tried("b", 1, 20, none, 15)}, wants(1, 1, 2), "b?a"},
		"disjoint":                    {[]site.Spot{tried("a", 1, 20, 20, 20, nan, nan), tried("b", 1, nan, nan, nan, 20, 20)}, wants(1, 1, 1, 1, 1), "a?b"},
		"at the edge: look again":     {[]site.Spot{tried("a", 1, 0.6, 20), tried("b", 1, 0.3, 20)}, wants(1, 1), "a?b"},
		"not wanted":                  {[]site.Spot{tried("a", 1, 20, 2), tried("b", 1, 4, 30)}, wants(1), "a>b"},
		"nothing wanted":              {[]site.Spot{tried("b", 1, 20), tried("a", 1, 3)}, nil, "a=b"},
		"nothing tried":               {nil, wants(1), ""},
	} {
		r := rank(c.spots, c.wanted)
		require.Equal(t, c.want, order(r), name)
	}
	ranks := func(r *Ranking) (out []int) {
		for _, row := range r.Rows {
			out = append(out, row.Rank)
		}
		return out
	}
	require.Equal(t, []int{1, 1, 3, 3, 5}, ranks(rank([]site.Spot{tried("a", 1, 30), tried("b", 1, 29.5), tried("c", 1, 20), tried("d", 1, 19.5), tried("e", 1, 2)}, wants(1))))
	require.Equal(t, []int{1, 2}, ranks(rank([]site.Spot{tried("a", 1, 20, 20), tried("b", 1, 20, nan)}, wants(1, 1))))
}

// Truth: the documented meaning of each field.
func TestRanking(t *testing.T) {
	nan := math.NaN()
	spots := []site.Spot{
		tried("attic", 1, 20, 4, none, -6, nan),
		tried("chimney", 1, 15, 7, -12, none, nan),
		tried("gable", 1, 3, 2, none, none, nan),
	}
	r := rank(spots, append(wants(1, 1, 1, 1, 1), site.Want{RFChannel: 36}))
	require.Equal(t, []int{8}, r.NotEnough)
	require.Equal(t, []int{9, 10}, r.Nowhere)
	require.Equal(t, []int{11}, r.Unmeasured)
	require.Empty(t, r.OtherStandard)
	require.Len(t, r.Wanted, 5)
	require.InDelta(t, 5.5, r.SpreadDB, 0.03) // ITU-R P.1546's, times 1.645 is 9 dB
	require.Equal(t, []string{"chimney", "attic", "gable"}, []string{r.Rows[0].Spot.Place, r.Rows[1].Spot.Place, r.Rows[2].Spot.Place})
	best := r.Rows[0]
	require.Equal(t, Best, best.Standing)
	require.Equal(t, 0.5, best.BestAhead)
	require.Equal(t, []int{7}, best.Enough)
	require.Equal(t, []int{8, 9}, best.Short)
	require.Equal(t, []int{10}, best.Absent)
	require.Equal(t, []int{11}, best.Unmeasured)
	require.Equal(t, &Weakest{8, measure.Estimate{Value: 7, Sigma: 1}}, best.Weakest)
	require.InDelta(t, 1+0.0228, best.Expected, 1e-3) // 7 dB is 2 σ from enough
	require.Greater(t, r.Rows[2].BestAhead, 0.99)

	// The first against the second, and what it gives up.
	require.Equal(t, "attic", r.Versus.Second.Place)
	v := r.Versus.Channels
	require.Equal(t, measure.Estimate{Value: -5, Sigma: math.Sqrt2}, *v[0].Margin)
	require.Equal(t, []bool{true, false, false, true}, []bool{v[0].Lost, v[1].Certain, v[2].Certain, v[3].Lost}, "10 is -6 at the attic and not there at the chimney")
	require.Equal(t, []int{7, 10}, []int{r.GivenUp[0].RFChannel, r.GivenUp[1].RFChannel})
	require.InDelta(t, 5, r.GivenUp[0].MoreDB.Value, 1e-9)
	require.False(t, r.GivenUp[0].Matters)
	require.False(t, r.GivenUp[1].Matters, "it does not decode there either")

	o := site.DefaultOptions()
	o.EnoughDB = 0
	require.Equal(t, []int{7, 8}, Rank(spots, nil, wants(1, 1, 1, 1), o).Rows[0].Enough)
}

// Truth: the rule that nothing is said of what was not measured.
func TestWhatToMeasureNext(t *testing.T) {
	nan := math.NaN()
	r := rank([]site.Spot{tried("east", 1, 20, 20, 20, nan, nan), tried("west", 1, nan, nan, nan, 20, 20), tried("shed", 1, -9, -9, -9, 20, nan)}, wants(1, 1, 1, 1, 1))
	require.Equal(t, "east", r.Rows[0].Spot.Place)
	require.Len(t, r.Next, 2)
	require.Equal(t, "west", r.Next[0].Spot.Place)
	require.Equal(t, []int{7, 8, 9}, r.Next[0].Channels)
	require.InDelta(t, 2, r.Next[0].CouldGain, 0.1)
	require.True(t, r.Next[1].Best)
	require.Equal(t, []int{10, 11}, r.Next[1].Channels)
	require.Equal(t, Behind, r.Rows[2].Standing, "the shed cannot win: three are known not to decode there")

	again := rank([]site.Spot{tried("a", 1, 0.6, 20), tried("b", 1, 0.3, 20)}, wants(1, 1))
	require.True(t, again.Next[0].Again)
	require.Equal(t, []int{7}, again.Next[0].Channels)
	require.Empty(t, rank([]site.Spot{tried("a", 1, 20), tried("b", 1, 3)}, wants(1)).Next)
}

// Truth: A/321 and A/53 are two standards: what is proven to be the one has no
// margin by the other, is not "not there", and speaks for no place.
func TestOtherStandard(t *testing.T) {
	a, b := tried("a", 1, 12, 30), tried("b", 1, 14, none)
	c := a.Channels[8]
	c.Standard, c.Presence = measure.ATSC3, measure.Present
	a.Channels[8] = c
	r := rank([]site.Spot{a, b}, wants(1, 1))
	require.Equal(t, []int{8}, r.OtherStandard)
	require.Empty(t, r.Nowhere)
	require.Equal(t, "b=a", order(r))
	require.Equal(t, []int{7}, r.Rows[1].Enough)
	require.True(t, r.Rows[1].Chances[1].Other)
	require.Nil(t, r.Rows[1].Chances[1].Margin)
	require.Empty(t, r.Rows[0].Absent)
}

// Truth: a Monte Carlo of what the probabilities are said to mean.
func TestChances(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	w := newWorld(9)
	for _, c := range []struct{ mean, sigma float64 }{{-3, 1}, {0.5, 1}, {4, 0.3}, {8, 3}, {15, 1}, {2, 6}} {
		const n = 40000
		var decodes, holds, square float64
		for range n {
			m := c.mean + c.sigma*r.NormFloat64()
			if m < 0 {
				continue
			}
			decodes += 1. / n
			stays := 0.0
			for range 4 {
				if m+9/1.6449*r.NormFloat64() >= 0 {
					stays += 0.25
				}
			}
			holds += stays / n
			p := 0.5 * math.Erfc(-m/(9/1.6449)/math.Sqrt2)
			square += p * p / n
		}
		got := w.of(c.mean, c.sigma)
		require.InDelta(t, decodes, got.decodes, 0.012, "%v", c)
		require.InDelta(t, holds, got.holds, 0.012, "%v", c)
		require.InDelta(t, square-holds*holds, got.square, 0.012, "%v", c)
		require.InDelta(t, got.value, w.table(c.sigma).at(c.mean), 1e-3)
	}
	require.InDelta(t, 0.95, w.of(9, 0).holds, 0.001, "what is said to be enough")
	require.InDelta(t, 0.95, newWorld(4).of(4, 0).holds, 0.001)
	require.InDelta(t, 0.95, newWorld(-2).of(-2, 0).holds, 0.01)
	last := 0.0
	for m := -40.0; m < 60; m += 0.5 {
		v := w.of(m, 1).value
		require.Greater(t, v, last, "more is better: %g dB", m)
		last = v
	}
}

// drawSpots makes spots at random, with channels that are missing, unmeasured
// and uncertain.
func drawSpots(r *rand.Rand, spots, channels int) []site.Spot {
	var out []site.Spot
	for k := range spots {
		s := site.Spot{Place: fmt.Sprint("place ", k/2), BearingDeg: ptr(float64(90 * (k % 2))), Channels: map[int]site.Combined{}}
		for i := range channels {
			switch r.IntN(12) {
			case 0:
				s.Channels[7+i] = site.Combined{Visits: 1}
			case 1:
			default:
				s.Channels[7+i] = site.Combined{Visits: 1, Heard: 1, Margin: &measure.Estimate{Value: 40*r.Float64() - 10, Sigma: 0.3 + 2*r.Float64()}}
			}
		}
		out = append(out, s)
	}
	return out
}

// Truth: properties that any sensible ranking has.
func TestRankProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 40 {
		channels := 1 + r.IntN(6)
		wanted := wants(make([]int, channels)...)
		for i := range wanted {
			wanted[i].Importance = r.IntN(4)
		}
		spots := drawSpots(r, 1+r.IntN(8), channels)
		first := rank(spots, wanted)
		winner := first.Rows[0].Spot.String()

		// The order of what is given makes no difference.
		mixedSpots, mixedWanted := slices.Clone(spots), slices.Clone(wanted)
		r.Shuffle(len(mixedSpots), func(i, j int) { mixedSpots[i], mixedSpots[j] = mixedSpots[j], mixedSpots[i] })
		r.Shuffle(len(mixedWanted), func(i, j int) { mixedWanted[i], mixedWanted[j] = mixedWanted[j], mixedWanted[i] })
		require.Equal(t, first, rank(mixedSpots, mixedWanted))

		// Ranks and standings are as documented.
		for i, row := range first.Rows {
			require.True(t, row.Rank == i+1 || i > 0 && row.Rank == first.Rows[i-1].Rank)
			require.Equal(t, i == 0, row.Standing == Best)
			if row.Standing == Equal {
				require.Equal(t, 1, row.Rank)
				require.Empty(t, row.Unmeasured)
			}
			if row.Standing == Open {
				require.NotEmpty(t, first.Next)
			}
		}

		// More of everything is never worse.
		lift := 5 * r.Float64()
		better := slices.Clone(spots)
		k := slices.IndexFunc(better, func(s site.Spot) bool { return s.String() == winner })
		lifted := site.Spot{Place: better[k].Place, BearingDeg: better[k].BearingDeg, Channels: map[int]site.Combined{}}
		for rf, c := range better[k].Channels {
			if m := c.Margin; m != nil {
				c.Margin = &measure.Estimate{Value: m.Value + lift, Sigma: m.Sigma}
			}
			lifted.Channels[rf] = c
		}
		better[k] = lifted
		require.Equal(t, winner, rank(better, wanted).Rows[0].Spot.String())
	}
}

// Truth: the definition of Equal, on simulated visits: of two places that are
// alike few are told apart, and of those that differ by 6 dB on one channel
// hardly any are called equal.
func TestToldApart(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	o := site.DefaultOptions()
	visit := func(place string, truth []float64) site.Mark {
		m := site.Mark{Time: noon, Place: place}
		for i, x := range truth {
			const sigma = 0.5
			m.Heard = append(m.Heard, site.Heard{RFChannel: 7 + i, Margin: &measure.Estimate{
				Value: x + math.Hypot(sigma, o.RepeatDB)*r.NormFloat64(), Sigma: sigma}})
		}
		return m
	}
	const n = 400
	apart, equal := 0, 0
	for range n {
		a := []float64{6 + 15*r.Float64(), 6 + 15*r.Float64(), 6 + 15*r.Float64()}
		same := Rank(site.Spots([]site.Mark{visit("a", a), visit("b", a)}, o), nil, wants(1, 1, 1), o)
		if same.Rows[1].Rank != 1 {
			apart++
		}
		b := slices.Clone(a)
		b[r.IntN(3)] += 6
		if Rank(site.Spots([]site.Mark{visit("a", a), visit("b", b)}, o), nil, wants(1, 1, 1), o).Rows[1].Rank == 1 {
			equal++
		}
	}
	t.Logf("alike and told apart: %.1f %%; 6 dB apart on one channel and called equal: %.1f %%", 100*float64(apart)/n, 100*float64(equal)/n)
	require.Less(t, float64(apart)/n, 0.10)
	require.Less(t, float64(equal)/n, 0.12)
}

// Truth: arithmetic: a margin known to 4 dB weighs less, and leaves two places
// untold that one known to 0.3 dB would tell apart.
func TestRankByAPart(t *testing.T) {
	for sigma, apart := range map[float64]bool{0.3: true, 4: false} {
		a, b := tried("gable", 1, 12), tried("attic", math.Hypot(1, sigma), 7)
		r := rank([]site.Spot{a, b}, wants(1))
		require.Equal(t, "gable", r.Rows[0].Spot.Place)
		require.Equal(t, apart, r.Rows[1].Rank == 2, "σ %g", sigma)
	}
}

func ExampleRank() {
	mark := func(place string, bearing float64, ch7, ch22 float64) site.Mark {
		return site.Mark{Time: noon, Place: place, BearingDeg: &bearing, Heard: []site.Heard{
			{RFChannel: 7, Margin: &measure.Estimate{Value: ch7, Sigma: 0.3}},
			{RFChannel: 22, Margin: &measure.Estimate{Value: ch22, Sigma: 0.3}},
		}}
	}
	o := site.DefaultOptions()
	spots := site.Spots([]site.Mark{mark("attic", 135, 12, 4), mark("chimney", 135, 16, 11.5), mark("chimney", 150, 15, 12), mark("gable", 135, 2, 17)}, o)
	r := Rank(spots, nil, []site.Want{{RFChannel: 7, Label: "Hill", Importance: 1}, {RFChannel: 22, Label: "Quarry", Importance: 1}}, o)
	for _, row := range r.Rows {
		fmt.Printf("%d. %v: %s, RF 22 holds with %.0f %%\n", row.Rank, row.Spot, row.Standing, 100*row.Chances[1].Holds)
	}
	// Output:
	// 1. chimney, 150° SSE: best, RF 22 holds with 98 %
	// 1. chimney, 135° SE: equal, RF 22 holds with 98 %
	// 3. attic, 135° SE: behind, RF 22 holds with 76 %
	// 4. gable, 135° SE: behind, RF 22 holds with 100 %
}
