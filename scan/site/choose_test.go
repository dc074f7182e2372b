package site

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
)

// Truth: the rule of Rank on the better of two margins, worked out by hand.
func TestPairs(t *testing.T) {
	o := DefaultOptions()
	for name, c := range map[string]struct {
		spots  []Spot
		wanted []Want
		best   string // "" when none is
		gained []int
		helps  bool
	}{
		"two halves": {[]Spot{tried("a", 1, 20, 20, 0, 0), tried("b", 1, 0, 0, 20, 20), tried("c", 1, 12, 12, 12, 0)}, wants(1, 1, 1, 1),
			"a+b", []int{10}, true},
		"two specialists beat the best single": {[]Spot{tried("a", 1, 12, 12, 3), tried("b", 1, 30, 1, 20), tried("c", 1, 1, 30, 1)}, wants(1, 1, 1),
			"b+c", []int{9}, true},
		"one would do":       {[]Spot{tried("a", 1, 20, 20), tried("b", 1, 10, 3)}, wants(1, 1), "", nil, false},
		"hardly worth it":    {[]Spot{tried("a", 1, 20, 20), tried("b", 1, 20.2, 3)}, wants(1, 1), "a+b", nil, false},
		"a stronger weakest": {[]Spot{tried("a", 1, 11, 30), tried("b", 1, 30, 11)}, wants(1, 1), "a+b", nil, true},
		"one spot":           {[]Spot{tried("a", 1, 11, 30)}, wants(1, 1), "", nil, false},
		"no spot":            {nil, wants(1, 1), "", nil, false},
		"importance": {[]Spot{tried("a", 1, 20, 2, 2), tried("b", 1, 2, 20, 2), tried("c", 1, 2, 2, 20)}, wants(1, 1, 5),
			"a+c", []int{7}, true},
	} {
		pairs := Pairs(c.spots, c.wanted, o, 3)
		if c.best == "" {
			require.Empty(t, pairs, name)
			continue
		}
		p := pairs[0]
		require.Equal(t, c.best, p.Spots[0].Place+"+"+p.Spots[1].Place, name)
		require.Equal(t, c.gained, p.Gained, name)
		require.Equal(t, c.helps, p.Ahead >= o.Confidence, "%s: %.3f", name, p.Ahead)
		for i := 1; i < len(pairs); i++ {
			require.GreaterOrEqual(t, pairs[i-1].Score, pairs[i].Score)
		}
	}
	p := Pairs([]Spot{tried("b", 1, 20, 3, none), tried("a", 1, 5, 12, none)}, wants(1, 1, 1), o, 1)[0]
	require.Equal(t, "a", p.Spots[0].Place)
	require.Equal(t, []int{1, 0, -1}, p.From)
	require.Equal(t, []int{7, 8}, p.Enough)
	require.Equal(t, []int{9}, p.Absent)
	require.Equal(t, &Weakest{8, measure.Estimate{Value: 12, Sigma: 1}}, p.Weakest)
	require.Empty(t, Pairs([]Spot{tried("b", 1, 20, 3), tried("a", 1, 5, 12)}, wants(1, 1), o, 0))
}

// Truth: properties: a pair serves at least as well as either half, and the
// best is found among many.
func TestPairProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 25 {
		channels := 2 + r.IntN(5)
		wanted := wants(make([]int, channels)...)
		for i := range wanted {
			wanted[i].Importance = 1 + r.IntN(2)
		}
		spots := drawSpots(r, 16, channels)
		o := DefaultOptions()
		// All pairs, without any limit.
		f := newField(spots, wanted, o)
		best := math.Inf(-1)
		for i := range spots {
			for j := range i {
				both, from := f.both(f.margins[j], f.margins[i])
				zero, one := false, false
				for _, k := range from {
					zero, one = zero || k == 0, one || k == 1
				}
				if zero && one {
					best = max(best, f.score(both))
				}
			}
		}
		for _, n := range []int{1, 5} {
			pairs := Pairs(spots, wanted, o, n)
			require.InDelta(t, best, pairs[0].Score, 1e-9)
			require.LessOrEqual(t, len(pairs), n)
			for _, p := range pairs {
				require.GreaterOrEqual(t, p.Ahead, 0.0)
				require.LessOrEqual(t, p.Ahead, 1+1e-9)
				require.Equal(t, f.serving(func() []margin { both, _ := f.both(f.marginsOf(p.Spots[0]), f.marginsOf(p.Spots[1])); return both }()), p.Serving)
			}
		}
	}
}

func marginMark(at time.Time, place string, margins ...float64) Mark {
	m := Mark{Time: at, Place: place}
	for i, x := range margins {
		h := Heard{RFChannel: 7 + i}
		if x != none {
			h.Margin = &measure.Estimate{Value: x, Sigma: 0.2}
		}
		m.Heard = append(m.Heard, h)
	}
	return m
}

// Truth: the documented rule, worked out by hand.
func TestChanges(t *testing.T) {
	day := 24 * time.Hour
	marks := []Mark{
		marginMark(noon, "roof", 20, 12, none, 15, 10),
		marginMark(noon.Add(time.Hour), "attic", 5),
		marginMark(noon.Add(2*time.Hour), "gable", 5),
		marginMark(noon.Add(7*day), "roof", 12, 13, 8, none),
		marginMark(noon.Add(7*day), "attic", 6),
		marginMark(noon.Add(8*day), "shed", 3),
	}
	changes, visited := Changes(marks, noon.Add(7*day), DefaultOptions())
	require.Len(t, changes, 2)
	require.Len(t, visited.New, 1)
	require.Equal(t, "shed", visited.New[0].Place)
	require.Len(t, visited.Left, 1)
	require.Equal(t, "gable", visited.Left[0].Place)

	attic, roof := changes[0], changes[1]
	require.Equal(t, "attic", attic.Spot.Place)
	require.InDelta(t, 1, attic.Channels[0].Change.Value, 1e-9)
	require.InDelta(t, math.Sqrt2*math.Hypot(0.2, 1), attic.Channels[0].Change.Sigma, 1e-3)
	require.False(t, attic.Channels[0].Certain)

	require.Equal(t, "roof", roof.Spot.Place)
	require.Len(t, roof.Channels, 4, "RF 11 was not measured again")
	var certain []bool
	for i, c := range roof.Channels {
		require.Equal(t, 7+i, c.RFChannel)
		certain = append(certain, c.Certain)
	}
	require.Equal(t, []bool{true, false, true, true}, certain)
	require.InDelta(t, -8, roof.Channels[0].Change.Value, 1e-9)
	require.Nil(t, roof.Channels[2].Before)
	require.Nil(t, roof.Channels[3].Since)

	changes, visited = Changes(nil, noon, DefaultOptions())
	require.Empty(t, changes)
	require.Empty(t, visited)
}

// Truth: the definition of FalseAlarm, on visits between which nothing changed.
func TestChangesFalseAlarm(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	o := DefaultOptions()
	const n = 1500
	alarms := 0
	for range n {
		var marks []Mark
		for i := range 8 { // four places, twice
			m := marginMark(noon.Add(time.Duration(i/4)*time.Hour), fmt.Sprint(i%4), 5, 10, 15)
			for k := range m.Heard {
				m.Heard[k].Margin.Value += math.Hypot(m.Heard[k].Margin.Sigma, o.RepeatDB) * r.NormFloat64()
			}
			marks = append(marks, m)
		}
		changes, _ := Changes(marks, noon.Add(time.Minute), o)
		alarm := false
		for _, c := range changes {
			for _, ch := range c.Channels {
				alarm = alarm || ch.Certain
			}
		}
		if alarm {
			alarms++
		}
	}
	t.Logf("false alarms: %.1f %%", 100*float64(alarms)/n)
	require.InDelta(t, o.FalseAlarm, float64(alarms)/n, 0.02)
}

func ExamplePairs() {
	spots := Spots([]Mark{marginMark(noon, "attic", 14, 2), marginMark(noon, "gable", 1, 12)}, DefaultOptions())
	for _, p := range Pairs(spots, []Want{{7, "Hill", 1}, {8, "Quarry", 1}}, DefaultOptions(), 1) {
		fmt.Printf("%v with %v: %d enough, one more than either alone\n", p.Spots[0], p.Spots[1], len(p.Enough))
	}
	// Output: attic with gable: 2 enough, one more than either alone
}

func ExampleChanges() {
	marks := []Mark{marginMark(noon, "chimney", 14, 9), marginMark(noon.Add(time.Hour), "chimney", 13.5, 2)}
	changes, _ := Changes(marks, noon.Add(time.Minute), DefaultOptions())
	for _, c := range changes[0].Channels {
		fmt.Printf("RF %d: %+.1f dB, certain: %t\n", c.RFChannel, c.Change.Value, c.Certain)
	}
	// Output:
	// RF 7: -0.5 dB, certain: false
	// RF 8: -7.0 dB, certain: true
}

// How long a large house takes: 60 spots, 12 wanted channels.
func BenchmarkRank(b *testing.B) {
	r := rand.New(rand.NewPCG(15, 16))
	spots, wanted := drawSpots(r, 60, 12), wants(1, 1, 1, 1, 1, 1, 2, 2, 3, 1, 1, 1)
	for b.Loop() {
		Rank(spots, wanted, DefaultOptions())
	}
}

func BenchmarkPairs(b *testing.B) {
	r := rand.New(rand.NewPCG(15, 16))
	spots, wanted := drawSpots(r, 60, 12), wants(1, 1, 1, 1, 1, 1, 2, 2, 3, 1, 1, 1)
	for b.Loop() {
		Pairs(spots, wanted, DefaultOptions(), 5)
	}
}
