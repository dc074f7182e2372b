package sim

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

// Truth: arithmetic. Level that is taken away for a time is away for that time, on
// the channels that it comes to, and time that is waited for has passed.
func TestLoss(t *testing.T) {
	town, err := Parse([]byte(`
[town]
name = "brook"
[radio]
dc_dbfs = -400
spur_dbm = -250
bits = 0
full_scale_dbm = -40
[[station]]
rf_channel = 20
level_dbm = -70
[[station]]
rf_channel = 30
level_dbm = -70
[[loss]]
at_seconds = 100
seconds = 50
loss_db = 10
[[loss]]
rf_channel = 30
at_seconds = 200
loss_db = 6
`))
	require.NoError(t, err)
	radio, err := New(town, Options{})
	require.NoError(t, err)
	var _ tuner.Timed = radio
	ctx := context.Background()
	began := radio.Now()
	x := make([]complex64, 48000)
	level := func(hz float64) float64 {
		require.NoError(t, radio.Tune(ctx, tuner.Tuning{CenterHz: hz, RateHz: 2.4e6, GainDB: tuner.UnknownGain()}))
		b, err := radio.Read(ctx, x)
		require.NoError(t, err)
		var sum float64
		for _, z := range b.Samples {
			sum += float64(real(z)*real(z) + imag(z)*imag(z))
		}
		return 10 * math.Log10(sum/float64(len(b.Samples)))
	}
	one, other := level(509e6), level(569e6) // the middles of channels 20 and 30
	for _, c := range []struct{ at, one, other float64 }{{99, 0, 0}, {101, -10, -10}, {149, -10, -10}, {151, 0, 0}, {201, 0, -6}, {1e6, 0, -6}} {
		radio.Wait(began.Add(time.Duration(c.at * 1e9)).Sub(radio.Now()))
		require.InDelta(t, c.at, radio.Now().Sub(began).Seconds(), 1e-6)
		require.InDelta(t, one+c.one, level(509e6), 0.3, "at %g s", c.at)
		require.InDelta(t, other+c.other, level(569e6), 0.3, "at %g s", c.at)
	}
	_, err = Parse([]byte("[town]\nname = \"brook\"\n[[loss]]\nrf_channel = 1\n"))
	require.ErrorContains(t, err, "loss 1")
	_, err = Parse([]byte("[town]\nname = \"brook\"\n[[loss]]\nloss_db = 1e9\n"))
	require.ErrorContains(t, err, "loss_db")
}
