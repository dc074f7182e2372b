package hunt_test

import (
	"context"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// keeping hunts in a town with a radio and keeps what is heard, then hunts in
// the recording.
func keeping(t *testing.T, town sim.Town, o hunt.Options) (live, kept *hunt.Hunt) {
	t.Helper()
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	defer radio.Close()
	name := filepath.Join(t.TempDir(), "kept")
	info := radio.Info()
	w, err := recording.Create(name, recording.Meta{Datatype: info.Datatype, Clock: info.Clock})
	require.NoError(t, err)
	o.Keep = func(b tuner.Block, newStay bool) error {
		if newStay {
			w.NewCapture()
		}
		return w.WriteBlock(b)
	}
	live, err = hunt.Listen(context.Background(), radio, o)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	meta, _ := w.Names()
	p, err := recording.Open(context.Background(), meta, recording.Hints{})
	require.NoError(t, err)
	defer p.Close()
	kept, err = hunt.Play(context.Background(), p, o)
	require.NoError(t, err)
	return live, kept
}

// Truth: the live hunt. One in its recording names the same suspects in the
// same order, with the same places and harms. What they advise may differ: the
// recording knows only the gains that were used.
func TestKeptHuntSaysTheSame(t *testing.T) {
	rng := rand.New(rand.NewPCG(33, 7))
	suspects := 0
	for n := range townDraws(t, 2) {
		town, channels, faults := blindTown(rng, 1+rng.IntN(3))
		if *onlyTown >= 0 && n != *onlyTown {
			continue
		}
		far, _ := band.Plans()[0].Channel(36)
		live, kept := keeping(t, town, hunt.Options{
			Channels: channels, Plan: append(channels[:len(channels):len(channels)], far), Services: looked(),
			Dwell: time.Duration(hunt.InsideDwell * float64(time.Second)),
		})
		require.Equal(t, len(live.Suspects), len(kept.Suspects), "town %d, %+v: live %s, kept %s", n, faults, told(live), told(kept))
		for i := range live.Suspects {
			a, b := &live.Suspects[i], &kept.Suspects[i]
			suspects++
			require.Equal(t, a.Name, b.Name, "town %d", n)
			require.Equal(t, a.Kind, b.Kind)
			require.Equal(t, a.FrequencyHz, b.FrequencyHz)
			require.Equal(t, a.PlacesHz, b.PlacesHz)
			require.Equal(t, a.LevelDBFS, b.LevelDBFS)
			require.Equal(t, a.Harms, b.Harms)
			require.Equal(t, a.Evidence, b.Evidence)
		}
		require.Equal(t, live.Survey.Clock, kept.Survey.Clock)
		require.Equal(t, live.Spurs, kept.Spurs)
		require.Equal(t, live.Bands, kept.Bands)
	}
	t.Logf("%d suspects, all the same", suspects)
}
