package scan

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

func TestSweepRefuses(t *testing.T) {
	tn, err := sim.New(dongleTown(1, 0), sim.Options{})
	require.NoError(t, err)
	one := usChannels(t, "20")
	for name, o := range map[string]Options{
		"no channels": {},
		"no rate":     {Channels: one, RateHz: 1},
		"no time":     {Channels: one, Dwell: time.Nanosecond},
		"a century":   {Channels: one, Dwell: 1e6 * time.Hour},
	} {
		_, err := SweepTuner(context.Background(), tn, o)
		require.Error(t, err, name)
	}
}

// Truth: the definition. Slices touch or overlap, and none is wasted.
func TestHops(t *testing.T) {
	c, _ := band.Plans()[0].Channel(20)
	for rate, want := range map[float64][]float64{
		2.4e6: {1e6, 3e6, 5e6},
		8e6:   {3e6},
		1e6:   {6e6 / 14, 18e6 / 14, 30e6 / 14, 3e6, 54e6 / 14, 66e6 / 14, 78e6 / 14},
	} {
		got := Hops(c, rate)
		require.Len(t, got, len(want), "%g", rate)
		for i := range want {
			require.InDelta(t, c.LowerHz+want[i], got[i], 1)
		}
	}
}

// An interrupted visit keeps what was measured until then, and is no error.
func TestInterruptedSweep(t *testing.T) {
	town := dongleTown(2, 5)
	town.Stations = []sim.Station{station(15, 20, 0), station(17, 22, 0)}
	tn, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	kept := 0
	s, err := SweepTuner(ctx, tn, Options{
		Channels: usChannels(t, "14-36"),
		Progress: func(done, total int, _ float64) {
			require.Equal(t, 69, total)
			if done == 12 {
				cancel()
			}
		},
		Keep: func(tuner.Block, bool) error { kept++; return nil },
	})
	require.NoError(t, err)
	require.True(t, s.Interrupted)
	require.Equal(t, s.Stays, kept)
	require.True(t, channelOf(t, s, 15).Heard())
	require.False(t, channelOf(t, s, 30).Heard())
}
