package scan

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/verdict"
)

// Truth: the town's own levels, the noise that a tuner which mixes straight down adds
// around the middle of its slices left out: no television set has it. It takes some
// dB of C/N where it is counted, and is no second station under the first.
func TestHumpIsNoNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	var errors []float64
	var sum float64
	for draw := range ensemble(1) {
		town := sim.Town{Name: "bench", Radio: sim.ZeroIFRadio()}
		town.Radio.Seed, town.Radio.RippleDB = uint64(draw+500), 0
		for i := range 8 {
			town.Stations = append(town.Stations, station(14+2*i, 6+float64((i*3+draw)%8)*2, float64(i%5)*4-8))
		}
		s, tn := look(t, town, Options{Channels: usChannels(t, "14-30"), Plan: usChannels(t, "14-30")})
		for i := range s.Channels {
			c := &s.Channels[i]
			st := onChannel(town, c.Channel.Number)
			if len(st) == 0 {
				require.Equal(t, measure.Vacant, c.Presence, "channel %d", c.Channel.Number)
				continue
			}
			for _, r := range c.Reasons {
				require.Equal(t, verdict.Weak, r.Limit, "channel %d: %+v", c.Channel.Number, r)
			}
			tune(t, tn, c)
			truth, err := tn.Truth(c.Channel.Number)
			require.NoError(t, err)
			errors = append(errors, c.Margin.Value-(truth.CNDB-s.ThresholdDB))
			sum += errors[len(errors)-1]
			t.Logf("RF %d, C/N %.1f: margin %.2f ± %.2f dB, %+.2f", c.Channel.Number, truth.CNDB, c.Margin.Value, c.Margin.Sigma, errors[len(errors)-1])
		}
	}
	t.Logf("%d channels: bias %+.2f dB, worst %.2f dB", len(errors), sum/float64(len(errors)), worst(errors))
	require.Less(t, worst(errors), 1.6)
}
