package meter

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
)

// atsc3 is a bench whose first station sends ATSC 3.0.
func atsc3(t testing.TB, cnDB ...float64) *sim.Tuner {
	town, err := sim.Bench(cnDB...)
	require.NoError(t, err)
	town.Stations[0].Standard = "atsc3"
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	return radio
}

// Truth: the town's own C/N. A station of ATSC 3.0 has no margin in any reading, and
// is followed by its C/N as exactly as one of 8-VSB is by its margin.
func TestATSC3HasNoMargin(t *testing.T) {
	some, plan := channels(t, 14)
	list := follow(t, atsc3(t, 20), Options{Channels: some, Plan: plan}, 1500*time.Millisecond)
	var cn []float64
	for _, u := range list {
		require.Equal(t, measure.ATSC3, u.Standard)
		require.Equal(t, ByCN, u.Gauge)
		require.Nil(t, u.Margin)
		require.Empty(t, u.Method)
		require.Empty(t, u.Grade())
		require.True(t, u.Foreign())
		require.NotNil(t, u.Figure())
		cn = append(cn, u.Figure().Value)
	}
	mean, rms := spread(cn)
	require.InDelta(t, 20, mean, 0.4)
	require.Less(t, rms, 0.15)
	last := list[len(list)-1]
	require.InDelta(t, 20, *last.BestDB, 0.5)
	require.Equal(t, Steady, last.Trend)
}

// Truth: the towns' own standards. What comes to a channel while the meter runs is
// told within seconds: ATSC 3.0 by a look of its own, and 8-VSB, with its margin, by
// its training.
func TestStandardChanges(t *testing.T) {
	some, plan := channels(t, 14)
	turned := &switched{Tuner: bench(t, -30), after: atsc3(t, 20), moment: 4 * time.Second}
	list := follow(t, turned, Options{Channels: some, Plan: plan}, 12*time.Second)
	last := list[len(list)-1]
	require.Equal(t, measure.ATSC3, last.Standard)
	require.Nil(t, last.Margin)
	require.InDelta(t, 20, last.CN.Value, 0.5)
	for _, u := range list { // not for long is it taken for a margin
		if u.Time.Sub(turned.switchedAt) > 5*time.Second {
			require.Nil(t, u.Margin)
		}
	}

	turned = &switched{Tuner: atsc3(t, 12), after: bench(t, 20), moment: 4 * time.Second}
	list = follow(t, turned, Options{Channels: some, Plan: plan}, 8*time.Second)
	require.Equal(t, measure.ATSC3, list[0].Standard)
	last = list[len(list)-1]
	require.Equal(t, measure.ATSC1, last.Standard)
	require.Equal(t, ByMargin, last.Gauge)
	require.InDelta(t, 20-measure.DefaultThresholdDB, last.Margin.Value, 0.5)
	require.InDelta(t, 20-measure.DefaultThresholdDB, *last.BestDB, 0.6, "the best C/N is no best margin")
}

// Truth: what was put in. A line of what has no margin has no field for it, and one
// of 8-VSB is as it always was.
func TestLineWithoutMargin(t *testing.T) {
	some, _ := channels(t, 27)
	u := Update{Channel: some[0], State: Measuring, Gauge: ByCN, Standard: measure.ATSC3, CN: &measure.Estimate{Value: 20}}
	b, err := NewLine(u).MarshalJSON()
	require.NoError(t, err)
	require.NotContains(t, string(b), "margin")
	require.Contains(t, string(b), `"standard":"atsc3","gauge":"cn"`)
	u = Update{Channel: some[0], State: Nothing, Gauge: ByMargin}
	b, err = NewLine(u).MarshalJSON()
	require.NoError(t, err)
	require.Contains(t, string(b), `"rf_channel":27,"state":"nothing","margin_db":null,"margin_sigma_db":null`)
	require.NotContains(t, string(b), "gauge")
}
