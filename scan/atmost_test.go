package scan

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
)

// Truth: the simulated town's levels. A channel on which nothing is tells how strong
// a station would have had to be; of stations as strong as that as many are found as
// is said, with echoes that pull their pilots as common ones do, and hardly any of
// those 6 dB weaker: the limit is no idle one.
func TestWhatIsNotHeardIsBelow(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	channels := usChannels(t, "14-24")
	visit := func(seed uint64, stations ...sim.Station) *Survey {
		town := dongleTown(seed, 12)
		// One that tells the clock.
		town.Stations = append(stations, station(24, 22, 0))
		tn, err := sim.New(town, sim.Options{})
		require.NoError(t, err)
		s, err := SweepTuner(context.Background(), tn, Options{Channels: channels})
		require.NoError(t, err)
		return s
	}
	empty := visit(77)
	var limit, n float64
	for i := range empty.Channels {
		if c := &empty.Channels[i]; c.Presence == measure.Vacant {
			require.NotNil(t, c.CNAtMostDB, c.Channel.Number)
			limit += *c.CNAtMostDB
			n++
		} else {
			require.Nil(t, c.CNAtMostDB, c.Channel.Number)
		}
	}
	require.GreaterOrEqual(t, n, 9.)
	limit /= n
	t.Logf("a station of %.1f dB C/N would have been found", limit)
	require.InDelta(t, -25, limit, 5)
	share := func(at float64) float64 {
		found, all := 0., 0.
		for draw := range ensemble(1) {
			var list []sim.Station
			for k := range 5 {
				st := station(14+2*k, at, float64(k%5)*4-8)
				// An echo 13 dB down pulls the pilot by some 2 dB either way.
				st.Echoes = []sim.Echo{{DelayUS: 0.7 + 0.9*float64(k), LevelDB: -13, PhaseDeg: float64((draw*67 + k*45) % 360)}}
				list = append(list, st)
			}
			s := visit(uint64(100+draw), list...)
			for _, st := range list {
				all++
				if channelOf(t, s, st.RFChannel).Presence != measure.Vacant {
					found++
				}
			}
		}
		return found / all
	}
	at, below := share(limit), share(limit-6)
	t.Logf("found at the limit: %.0f %%, 6 dB below it: %.0f %%", 100*at, 100*below)
	require.GreaterOrEqual(t, at, measure.AtMostConfidence-0.05)
	require.LessOrEqual(t, below, 0.7)
}
