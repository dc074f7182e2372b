package site

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
)

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
