package scan

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/verdict"
)

// Truth: the town's own levels. A radio that loses samples inside most of its stays,
// and tells nobody, gives the margins of one that loses none, and names no limit that
// is not there.
func TestUntoldGaps(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	var errors []float64
	inside := 0
	for draw := range ensemble(1) {
		town := dongleTown(uint64(draw+900), 27)
		town.Radio.LoseEveryS = 0.05
		for i := range 8 {
			cn := 10 + 16*float64((i*5+draw*3)%8)/7
			town.Stations = append(town.Stations, station(14+2*i, cn, float64(i%5)*4-8))
		}
		s, tn := look(t, town, Options{Channels: usChannels(t, "14-30"), Plan: usChannels(t, "14-30")})
		for _, st := range town.Stations {
			c := channelOf(t, s, st.RFChannel)
			tune(t, tn, c)
			truth, err := tn.Truth(st.RFChannel)
			require.NoError(t, err)
			require.NotNil(t, c.Margin, "channel %d", st.RFChannel)
			e := c.Margin.Value - (truth.CNDB - s.ThresholdDB)
			errors = append(errors, e)
			if math.Abs(e) <= 1.96*c.Margin.Sigma {
				inside++
			}
			for _, r := range c.Reasons {
				require.Equal(t, verdict.Weak, r.Limit, "draw %d, channel %d: %+v", draw, st.RFChannel, r)
			}
		}
	}
	var sum float64
	for _, e := range errors {
		sum += e * e / float64(len(errors))
	}
	t.Logf("%d channels: rms %.2f dB, worst %.2f dB, inside the stated 95 %% %d", len(errors), math.Sqrt(sum), worst(errors), inside)
	require.Less(t, worst(errors), 0.7)
	require.GreaterOrEqual(t, inside, len(errors)*9/10)
}
