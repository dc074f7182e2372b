package scan

import (
	"context"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// held is a playlist of one stay that is in memory.
type held struct {
	samples []complex64
	stay    tuner.Stay
	begun   bool
}

func (h *held) Info() tuner.Info { return tuner.Info{Name: "held", Datatype: "cf32_le"} }
func (h *held) Close() error     { return nil }

func (h *held) Next(context.Context) (tuner.Stay, error) {
	if h.begun {
		return tuner.Stay{}, io.EOF
	}
	h.begun = true
	return h.stay, nil
}

func (h *held) Read(_ context.Context, dst []complex64) (tuner.Block, error) {
	n := copy(dst, h.samples)
	h.samples = h.samples[n:]
	b := tuner.Block{Samples: dst[:n], CenterHz: h.stay.CenterHz, RateHz: h.stay.RateHz, GainDB: h.stay.GainDB}
	if n < len(dst) {
		return b, io.EOF
	}
	return b, nil
}

// Truth: the town's own words: a wide radio learns who the station is, a narrow one
// does not, and a recording of a whole channel tells as well.
func TestIdentify(t *testing.T) {
	if testing.Short() {
		t.Skip("it receives seconds of samples")
	}
	t.Parallel()
	town, err := sim.Load("lighthouse")
	require.NoError(t, err)
	plan := usChannels(t, "14-19")
	for _, rate := range []float64{2.4e6, 8e6} {
		s, _ := look(t, town, Options{Channels: usChannels(t, "14-15"), Plan: plan, RateHz: rate, Identify: true})
		c := channelOf(t, s, 14)
		require.Nil(t, channelOf(t, s, 15).Identity, "vacant")
		if rate < 6e6 {
			require.Nil(t, c.Identity)
			require.Empty(t, c.Label)
			continue
		}
		require.True(t, c.Identity.Known())
		require.Equal(t, "8.1 QSKL-HD", c.Label)
	}

	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	var channels []band.Channel = usChannels(t, "18")
	stay := tuner.Stay{CenterHz: channels[0].CenterHz() + 0.5e6, RateHz: 8e6, GainDB: 30}
	require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: stay.CenterHz, RateHz: stay.RateHz, GainDB: stay.GainDB}))
	b, err := radio.Read(context.Background(), make([]complex64, 4_000_000))
	require.NoError(t, err)
	s, err := SweepPlaylist(context.Background(), &held{samples: b.Samples, stay: stay}, Options{Channels: channels, Plan: channels, Identify: true})
	require.NoError(t, err)
	who := channelOf(t, s, 18).Identity
	require.Equal(t, "21.1 QCLF", who.Label())
	require.Len(t, who.Services(), 2)
	require.Nil(t, who.ClockAheadS, "the recording tells no time")
}

// Truth: the town's own words. A wide radio knows ATSC 3.0 too, though its first
// stay is shorter than a frame and among others of another rate.
func TestWideRadioTellsATSC3(t *testing.T) {
	if testing.Short() {
		t.Skip("it renders whole channels")
	}
	t.Parallel()
	town, err := sim.Load("lighthouse")
	require.NoError(t, err)
	for _, list := range []string{"34-36", "33-36", "30-36"} { // a bootstrap falls into the first stay, or not
		s, _ := look(t, town, Options{Channels: usChannels(t, list), Plan: usChannels(t, list), RateHz: 8e6})
		require.Equal(t, measure.ATSC3, channelOf(t, s, 34).Standard)
		require.Equal(t, measure.Present, channelOf(t, s, 34).Presence)
	}
}
