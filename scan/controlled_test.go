package scan

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/verdict"
)

// Truth: the town's own levels. A radio whose gain control was left on raises and
// lowers all stays to one level. That is noticed, nothing is found on vacant channels,
// nothing is said to stand under stations or to move, and margins are those of the
// training.
func TestGainControlLeftOn(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	for draw := range ensemble(1) {
		for _, on := range []bool{true, false} {
			town := dongleTown(uint64(draw+2100), 12)
			town.Radio.AGC = on
			town.Stations = []sim.Station{
				station(15, 24, 2), station(18, 14, -3), station(21, 20, 5), station(22, 38, 0), station(26, 17, 1), station(30, 22, 4),
			}
			s, _ := look(t, town, Options{Channels: usChannels(t, "14-32"), Plan: usChannels(t, "14-32")})
			require.Equal(t, on, s.Controlled)
			for i := range s.Channels {
				c := &s.Channels[i]
				st := onChannel(town, c.Channel.Number)
				if len(st) == 0 {
					require.NotEqual(t, measure.Present, c.Presence, "channel %d", c.Channel.Number)
					require.Nil(t, c.Occupant, "channel %d", c.Channel.Number)
					continue
				}
				for _, r := range c.Reasons {
					require.Contains(t, []verdict.Limit{verdict.Weak, verdict.Echoes, verdict.Overload}, r.Limit, "channel %d: %+v", c.Channel.Number, r)
				}
				want := st[0].LevelDBm - noiseDBm - s.ThresholdDB
				t.Logf("control %v, RF %d: margin %.2f ± %.2f dB, without one %.2f", on, c.Channel.Number, c.Margin.Value, c.Margin.Sigma, want)
				require.Less(t, math.Abs(c.Margin.Value-want), 1+math.Max(0, want-10)/3, "channel %d", c.Channel.Number)
			}
		}
	}
}
