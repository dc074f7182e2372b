package sim

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
	"rooftone/scan/tuner"
)

// Truth: the town's own levels. After a day of the radio's own time a station is
// where it was at first, and as clean: phases do not lose their last digits.
func TestADayLater(t *testing.T) {
	const rateHz, channelHz = 2.4e6, 470e6
	for _, hours := range []float64{0, 8, 24} {
		town, err := Bench(30)
		require.NoError(t, err)
		r, err := New(town, Options{})
		require.NoError(t, err)
		r.began = hours * 3600
		require.NoError(t, r.Tune(context.Background(), tuner.Tuning{CenterHz: channelHz + 1e6, RateHz: rateHz, GainDB: tuner.UnknownGain()}))
		b, err := r.Read(context.Background(), make([]complex64, rateHz/10))
		require.NoError(t, err)
		trainer, err := vsb.NewTrainer(b.RateHz, 1e6)
		require.NoError(t, err)
		fit, err := trainer.Fit(b.Samples, vsb.Knowledge{CenterHz: b.CenterHz, RangePPM: 3})
		require.NoError(t, err)
		zoom, err := psd.NewZoom(b.RateHz, 309440.559-1e6, 4e3, 0.1)
		require.NoError(t, err)
		zoom.Write(b.Samples)
		zoom.Flush()
		peak, ok := zoom.Peak(309440.559-1e6-1e3, 309440.559-1e6+1e3)
		require.True(t, ok)
		mer := 10 * math.Log10(fit.DataDensity/fit.ErrorDensity)
		t.Logf("after %2.0f h: MER %.2f dB, pilot at %+.3f Hz", hours, mer, peak.OffsetHz+1e6-309440.559)
		require.InDelta(t, 30.16, mer, 0.8)
		require.InDelta(t, 309440.559-1e6, peak.OffsetHz, 1)
	}
}
