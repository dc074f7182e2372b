package scan_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

func held(centerHz, rateHz, seconds float64) scan.Stay {
	return scan.Stay{Stay: tuner.Stay{CenterHz: centerHz, RateHz: rateHz, GainDB: math.NaN()}, Samples: int64(seconds*rateHz + 0.5)}
}

// Truth: the arithmetic of slices, of which 0.4375 of the rate counts each way.
func TestHolds(t *testing.T) {
	for name, test := range map[string]struct {
		stays []scan.Stay
		want  []scan.Held
	}{
		"nothing":        {},
		"an empty stay":  {[]scan.Stay{held(555e6, 2.4e6, 0)}, nil},
		"one":            {[]scan.Stay{held(555e6, 2.4e6, 0.06)}, []scan.Held{{band.Span{LowHz: 553.95e6, HighHz: 556.05e6}, 0.06}}},
		"the same again": {[]scan.Stay{held(555e6, 2.4e6, 0.06), held(555e6, 2.4e6, 0.04)}, []scan.Held{{band.Span{LowHz: 553.95e6, HighHz: 556.05e6}, 0.1}}},
		"a channel": {[]scan.Stay{held(559e6, 2.4e6, 0.05), held(555e6, 2.4e6, 0.06), held(557e6, 2.4e6, 0.07)},
			[]scan.Held{{band.Span{LowHz: 553.95e6, HighHz: 560.05e6}, 0.05}}},
		"two apart": {[]scan.Stay{held(559e6, 2.4e6, 0.06), held(555e6, 2.4e6, 0.06)},
			[]scan.Held{{band.Span{LowHz: 553.95e6, HighHz: 556.05e6}, 0.06}, {band.Span{LowHz: 557.95e6, HighHz: 560.05e6}, 0.06}}},
		"one within another": {[]scan.Stay{held(556e6, 1e6, 0.01), held(557e6, 8e6, 1)},
			[]scan.Held{{band.Span{LowHz: 553.5e6, HighHz: 560.5e6}, 1}}},
	} {
		got := scan.Holds(test.stays)
		require.Len(t, got, len(test.want), name)
		for i, w := range test.want {
			require.InDelta(t, w.LowHz, got[i].LowHz, 1, name)
			require.InDelta(t, w.HighHz, got[i].HighHz, 1, name)
			require.InDelta(t, w.Seconds, got[i].Seconds, 1e-6, name)
		}
	}
}

// Truth: the channel's edges and the width of a slice. What is seen and what the
// tunings show make up the channel.
func TestNext(t *testing.T) {
	c := band.Channel{Number: 28, LowerHz: 554e6}
	span := func(lowMHz, highMHz float64) band.Span { return band.Span{LowHz: lowMHz * 1e6, HighHz: highMHz * 1e6} }
	for name, test := range map[string]struct {
		seen []band.Span
		rate float64
		want []float64 // MHz
	}{
		"all":               {[]band.Span{span(554, 560)}, 2.4e6, nil},
		"all but a sliver":  {[]band.Span{span(554.0001, 560)}, 2.4e6, nil},
		"nothing":           {nil, 2.4e6, []float64{555, 557, 559}},
		"nothing, wide":     {nil, 8e6, []float64{557}},
		"nothing, 2.048":    {nil, 2.048e6, nil},
		"the lower third":   {[]band.Span{span(554, 556.05)}, 2.4e6, []float64{557, 559}},
		"the middle":        {[]band.Span{span(555.95, 558.05)}, 2.4e6, []float64{555, 559}},
		"the pilot":         {[]band.Span{span(554, 555.36)}, 2.4e6, nil},
		"both ends missing": {[]band.Span{span(554.05, 559.95)}, 2.4e6, nil},
		"a hole":            {[]band.Span{span(554, 556), span(556.1, 560)}, 2.4e6, []float64{556}},
		"two near holes":    {[]band.Span{span(554, 556), span(556.1, 557), span(557.2, 560)}, 2.4e6, []float64{557}},
		"at 1.024":          {[]band.Span{span(554, 558)}, 1.024e6, nil},
	} {
		r := &measure.Reading{Channel: c, Seen: test.seen}
		got := scan.Next(r, test.rate)
		if test.want != nil {
			require.Len(t, got, len(test.want), name)
			for i, w := range test.want {
				require.InDelta(t, w*1e6, got[i], 1, name)
			}
		}
		seen := append([]band.Span(nil), test.seen...)
		half := listen.UsableShare * test.rate
		for i, hz := range got {
			seen = append(seen, band.Span{LowHz: hz - half, HighHz: hz + half})
			require.Zero(t, math.Mod(hz, 1e3), name)
			require.True(t, i == 0 || got[i-1] < hz, name)
		}
		all := band.Join(seen, 1e3)
		require.Len(t, all, 1, "%s: %v", name, got)
		require.LessOrEqual(t, all[0].LowHz, c.LowerHz+1e3, name)
		require.GreaterOrEqual(t, all[0].HighHz, c.UpperHz()-1e3, name)
	}
}
