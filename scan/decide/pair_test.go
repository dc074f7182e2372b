package decide

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// Truth: the better of two margins, worked out by hand.
func TestPair(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		spots  []site.Spot
		wanted []site.Want
		best   string // "" when no two have anything to add
		gained []int
		worth  bool
	}{
		"two halves": {[]site.Spot{tried("a", 1, 20, 20, -3, -3), tried("b", 1, -3, -3, 20, 20), tried("c", 1, 12, 12, 12, -3)}, wants(1, 1, 1, 1),
			"a+b", []int{10}, true},
		"two specialists beat the best single": {[]site.Spot{tried("a", 1, 12, 12, -2), tried("b", 1, 30, -2, 20), tried("c", 1, 1, 30, 1)}, wants(1, 1, 1),
			"b+c", []int{8}, true},
		"one would do":                  {[]site.Spot{tried("a", 1, 20, 20), tried("b", 1, 10, 3)}, wants(1, 1), "", nil, false},
		"hardly worth it":               {[]site.Spot{tried("a", 1, 20, 20), tried("b", 1, 20.2, 3)}, wants(1, 1), "a+b", nil, false},
		"stronger, but both had enough": {[]site.Spot{tried("a", 1, 11, 30), tried("b", 1, 30, 11)}, wants(1, 1), "a+b", nil, false},
		"one spot":                      {[]site.Spot{tried("a", 1, 11, 30)}, wants(1, 1), "", nil, false},
		"importance": {[]site.Spot{tried("a", 1, 20, -2, -2), tried("b", 1, -2, 20, -2), tried("c", 1, -2, -2, 20)}, wants(1, 2, 5),
			"b+c", []int{8}, true},
		"one antenna may do as well: not known to gain": {[]site.Spot{tried("a", 1, 20, 20, nan), tried("b", 1, nan, nan, 20)}, wants(1, 1, 1), "a+b", nil, false},
	} {
		r := rank(c.spots, c.wanted)
		if c.best == "" {
			require.Nil(t, r.Pair, name)
			continue
		}
		p := r.Pair
		require.Equal(t, c.best, p.Spots[0].Place+"+"+p.Spots[1].Place, name)
		require.Equal(t, c.gained, p.Gained, name)
		require.Equal(t, c.worth, p.Worth, "%s: %.3f, %.2f", name, p.Ahead, p.Gain)
	}
	p := rank([]site.Spot{tried("b", 1, 20, 3, none), tried("a", 1, 5, 12, none)}, wants(1, 1, 1)).Pair
	require.Equal(t, "a", p.Spots[0].Place)
	require.Equal(t, []int{1, 0, -1}, p.From)
	require.Equal(t, []int{7, 8}, p.Enough)
	require.Equal(t, []int{9}, p.Absent)
	require.Equal(t, &Weakest{8, measure.Estimate{Value: 12, Sigma: 1}}, p.Weakest)
}

// Truth: phasors: two amplitudes that meet in phase and against it, by hand: a
// second path 20 dB down is a tenth, which adds 0.83 dB or takes 0.92 dB.
func TestCombiner(t *testing.T) {
	heading := func(deg float64, s site.Spot) site.Spot { s.BearingDeg = &deg; return s }
	r := rank([]site.Spot{heading(10, tried("mast", 1, 14, -6, 12.5)), heading(200, tried("mast", 1, -6, 14, 12.5))}, wants(1, 1, 1))
	p := r.Pair
	require.True(t, p.Worth)
	require.True(t, p.Rotator)
	for i, want := range []struct{ worst, best float64 }{{14 - 3.5 - 0.915, 14 - 3.5 + 0.828}, {14 - 3.5 - 0.915, 14 - 3.5 + 0.828}} {
		require.InDelta(t, want.worst, *p.Joined[i].WorstDB, 0.01)
		require.InDelta(t, want.best, *p.Joined[i].BestDB, 0.01)
	}
	require.Nil(t, p.Joined[2].WorstDB, "two alike may cancel")
	require.InDelta(t, 12.5-3.5+6.02, *p.Joined[2].BestDB, 0.01)
	require.Equal(t, []int{7, 8}, p.Serves)
	require.Equal(t, []int{9}, p.Falls)
	require.InDelta(t, 3.5, p.LossDB, 1e-9) // common practice, no source

	apart := rank([]site.Spot{heading(10, tried("mast", 1, 14, -6)), heading(200, tried("shed", 1, -6, 14))}, wants(1, 1))
	require.False(t, apart.Pair.Rotator)
}

// beamCurve is a turn of a beam: level at its top, 60° wide, 20 dB to the back.
func beamCurve(rf int, towards, level, from, to float64) site.Curve {
	c := site.Curve{RFChannel: rf, Points: []site.Aimed{}}
	for deg := from; deg <= to; deg += site.CurveStepDeg {
		off := math.Remainder(deg-towards, 360) / 60
		c.Points = append(c.Points, site.Aimed{BearingDeg: deg, LevelDB: level - math.Min(20, 12*off*off)})
	}
	return c
}

// Truth: the beams that went in: a turn supplies what no mark measured, knows
// where it heard nothing, and says nothing of where it was not.
func TestTurnSupplies(t *testing.T) {
	o := site.DefaultOptions()
	turn := site.TurnRecord{Time: noon, Place: "Mast", Curves: []site.Curve{
		beamCurve(7, 131, 15, 0, 357.5), beamCurve(8, 268, 14, 200, 330), {RFChannel: 9, Points: nil},
	}}
	at := func(deg float64) site.Spot {
		s := tried("mast", 1, math.NaN())
		s.BearingDeg = &deg
		return s
	}
	east, west := at(131), at(268)
	east.Channels[7] = site.Combined{Visits: 1, Heard: 1, Margin: &measure.Estimate{Value: 15.5, Sigma: 1}}
	r := Rank([]site.Spot{east, west, tried("shed", 1, 3)}, []site.TurnRecord{turn}, wants(1, 1, 1, 1), o)
	var e, w *Row
	for i := range r.Rows {
		switch b := r.Rows[i].Spot.BearingDeg; {
		case b != nil && *b == 131:
			e = &r.Rows[i]
		case b != nil && *b == 268:
			w = &r.Rows[i]
		}
	}
	require.Equal(t, 15.5, e.Chances[0].Margin.Value, "a mark goes before the turn")
	require.Equal(t, []int{8, 9}, e.Absent, "followed all around and not heard here")
	require.Equal(t, []int{10}, e.Unmeasured, "not followed")
	require.InDelta(t, -5, w.Chances[0].Margin.Value, 0.1)
	require.InDelta(t, 14, w.Chances[1].Margin.Value, 0.1)
	require.True(t, w.Spot.Channels[8].Turned)
	require.Equal(t, []int{10}, r.Unmeasured)

	// Of a part of the circle only that part is known.
	part := turn
	part.Curves = []site.Curve{beamCurve(7, 131, 15, 90, 180)}
	r = Rank([]site.Spot{at(131), at(268)}, []site.TurnRecord{part}, wants(1), o)
	require.Equal(t, []int{7}, r.Rows[0].Enough)
	require.Equal(t, []int{7}, r.Rows[1].Unmeasured)

	// Nothing marked, two stations side by side: between them, nearer to the
	// weaker; not marked, so a row of its own.
	both := site.TurnRecord{Time: noon, Place: "mast", Curves: []site.Curve{beamCurve(7, 100, 12, 0, 357.5), beamCurve(8, 140, 8, 0, 357.5)}}
	r = Rank(nil, []site.TurnRecord{both}, wants(1, 1), o)
	h := r.Headings[0]
	require.True(t, r.Rows[0].Turn)
	require.InDelta(t, h.Heading.Value, *r.Rows[0].Spot.BearingDeg, 0.5)
	// By hand: the sum of Φ((12 − (x/60)²·12)/5.5) and Φ((8 − ((40 − x)/60)²·12)/5.5)
	// is greatest at x = 26.4°, where the one has 9.7 dB and the other 7.4 dB.
	require.InDelta(t, 126.4, h.Heading.Value, 3)
	require.InDelta(t, 12*26.4*26.4/3600, h.Costs[0].CostDB, 0.7)
	require.Less(t, h.FromDeg, h.Heading.Value)
	require.Greater(t, h.ToDeg, h.Heading.Value)
	require.Empty(t, h.Unknown)
}

// How long a large house takes: 60 spots, 12 wanted channels, a turn.
func BenchmarkRank(b *testing.B) {
	spots := drawSpots(rand.New(rand.NewPCG(15, 16)), 60, 12)
	wanted := wants(1, 1, 1, 1, 1, 1, 2, 2, 3, 1, 1, 1)
	turn := site.TurnRecord{Time: noon, Place: "place 3"}
	for i := range wanted {
		turn.Curves = append(turn.Curves, beamCurve(7+i, float64(30*i), 12, 0, 357.5))
	}
	for b.Loop() {
		Rank(spots, []site.TurnRecord{turn}, wanted, site.DefaultOptions())
	}
}
