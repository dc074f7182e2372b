package scan

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
)

// Truth: the town's own levels, whatever the rate it is listened to with. At
// 8 MS/s one slice shows a channel, at 1 MS/s it takes seven.
func TestRates(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	for _, rate := range []float64{1e6, 2e6, 2.4e6, 3.2e6, 8e6, 20e6} {
		town := dongleTown(3, -17)
		town.Radio.Wide, town.Radio.RippleDB = true, 0
		s := station(20, 21, 4)
		s.Echoes = []sim.Echo{{DelayUS: 2.5, LevelDB: -9, PhaseDeg: 100}}
		town.Stations = []sim.Station{station(17, 15, 2), s, station(22, 11, -3)}
		survey, tn := look(t, town, Options{Channels: usChannels(t, "16-24"), Plan: usChannels(t, "16-24"), RateHz: rate})
		require.NotNil(t, survey.Clock)
		require.InDelta(t, -17, survey.Clock.PPM.Value, 0.3)
		for _, c := range survey.Channels {
			on := onChannel(town, c.Channel.Number)
			require.True(t, c.Heard(), "channel %d at %g MS/s", c.Channel.Number, rate/1e6)
			if on == nil {
				require.Equal(t, measure.Vacant, c.Presence, "channel %d at %g MS/s", c.Channel.Number, rate/1e6)
				continue
			}
			require.Equal(t, measure.Present, c.Presence, "channel %d at %g MS/s", c.Channel.Number, rate/1e6)
			truth, err := tn.Truth(c.Channel.Number)
			require.NoError(t, err)
			want := trueMargin(t, on, truth.NoiseDBm, survey.ThresholdDB)
			t.Logf("%4.1f MS/s, channel %d: margin %.2f ± %.2f dB, truth %.2f; MER %v; echoes %v", rate/1e6, c.Channel.Number, c.Margin.Value, c.Margin.Sigma, want, c.MER, c.Echoes)
			require.InDelta(t, want, c.Margin.Value, 0.7, "channel %d at %g MS/s", c.Channel.Number, rate/1e6)
		}
	}
}
