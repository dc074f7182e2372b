package hunt_test

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
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

// oneTuning is a raw recording: one stay of a town.
func oneTuning(t *testing.T, town sim.Town, centerHz, rateHz float64, length time.Duration) *splice {
	t.Helper()
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	defer radio.Close()
	require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: centerHz, RateHz: rateHz, GainDB: 40}))
	b, err := radio.Read(context.Background(), make([]complex64, int(length.Seconds()*rateHz)))
	require.NoError(t, err)
	return &splice{rateHz: rateHz, gainDB: math.NaN(), stays: []spliced{{b.CenterHz, b.Samples, b.Clipped}}}
}

// Truth: the town. One tuning of unknown gain, anywhere in a channel and as
// narrow as a radio goes, is hunted in: a tone in it is found where it is, and
// what was not heard is called neither clean nor heard.
func TestOneTuning(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	plan := band.Plans()[0]
	list, err := plan.Select("22")
	require.NoError(t, err)
	radio := sim.DefaultRadio()
	radio.PPM, radio.SpurDBm = 21, -300
	for _, row := range []struct {
		name          string
		station       bool
		aboveHz, rate float64
	}{
		{"middle", true, 3e6, 2.4e6}, {"pilot", true, 0.7e6, 2.048e6}, {"upper end", true, 5e6, 2.048e6},
		{"narrow", true, 2.3e6, 1.024e6}, {"vacant", false, 3e6, 2.4e6},
	} {
		t.Run(row.name, func(t *testing.T) {
			town := sim.Town{Name: "lone", Radio: radio}
			if row.station {
				town.Stations = []sim.Station{{RFChannel: 22, LevelDBm: -72}}
			}
			hz := 518e6 + row.aboveHz + 200e3
			town.Tones = []sim.Tone{{FrequencyHz: hz, LevelDBm: -90}}
			p := oneTuning(t, town, 518e6+row.aboveHz, row.rate, 120*time.Millisecond)
			h, err := hunt.Play(context.Background(), p, hunt.Options{Channels: list, Plan: plan.Channels})
			require.NoError(t, err)
			require.False(t, h.Silent())
			require.False(t, h.Clean())
			require.Len(t, h.Heard, 1)
			require.False(t, h.Heard[0].Whole())
			require.InDelta(t, 2*0.4375*row.rate/6e6, h.Heard[0].Share(), 0.1)
			tones := 0
			for _, s := range h.Suspects {
				t.Logf("%s | %s | %+v | %v", s.Kind, s.Name, s.FrequencyHz, s.Evidence)
				require.Equal(t, hunt.Tone, s.Kind)
				require.InDelta(t, hz, s.FrequencyHz.Value, 2*s.FrequencyHz.Sigma)
				tones++
			}
			require.Equal(t, 1, tones)
		})
	}
}

// Truth: the same samples. A visit's stays in another order give the same
// suspects.
func TestShuffledStays(t *testing.T) {
	if testing.Short() {
		t.Skip("listens to a town")
	}
	rng := rand.New(rand.NewPCG(35, 7))
	town, channels, _ := blindTown(rng, 2)
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	defer radio.Close()
	all := &splice{rateHz: 2.4e6, gainDB: 40}
	for _, c := range channels {
		for _, hz := range scan.Hops(c, all.rateHz) {
			require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: hz, RateHz: all.rateHz, GainDB: all.gainDB}))
			b, err := radio.Read(context.Background(), make([]complex64, int(0.2*all.rateHz)))
			require.NoError(t, err)
			all.gainDB = b.GainDB
			all.stays = append(all.stays, spliced{b.CenterHz, b.Samples, b.Clipped})
		}
	}
	var first *hunt.Hunt
	for range 3 {
		all.at = 0
		h := huntSpliced(t, all, channels)
		if first == nil {
			first = h
		}
		require.Equal(t, len(first.Suspects), len(h.Suspects), "%s, then %s", told(first), told(h))
		for i := range h.Suspects {
			a, b := &first.Suspects[i], &h.Suspects[i]
			require.Equal(t, a.Name, b.Name)
			require.InDelta(t, a.WorstDB(), b.WorstDB(), 0.3)
		}
		rng.Shuffle(len(all.stays), func(i, j int) { all.stays[i], all.stays[j] = all.stays[j], all.stays[i] })
	}
	t.Logf("%s", told(first))
}
