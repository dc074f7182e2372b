package watch

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

var errPulled = &tuner.Problem{What: "the radio was pulled out", Hint: "plug it in"}

// loose is a simulated radio in a loose socket: it fails at certain times and
// cannot be opened again for a while.
type loose struct {
	*sim.Tuner
	began time.Time
	pulls []span
	opens int
}

type span struct{ from, to float64 } // seconds

func (l *loose) gone() bool {
	at := l.Now().Sub(l.began).Seconds()
	for _, p := range l.pulls {
		if at >= p.from && at < p.to {
			return true
		}
	}
	return false
}

func (l *loose) Tune(ctx context.Context, to tuner.Tuning) error {
	if l.gone() {
		return errPulled
	}
	return l.Tuner.Tune(ctx, to)
}

func (l *loose) Close() error { return nil }

func (l *loose) open(context.Context) (tuner.Tuner, error) {
	l.opens++
	if l.gone() {
		return nil, errors.New("no radio found")
	}
	return l, nil
}

func chosen(t *testing.T, list string) (some, all []band.Channel) {
	t.Helper()
	plan := band.Plans()[0]
	some, err := plan.Select(list)
	require.NoError(t, err)
	return some, plan.Channels
}

const brook = `
[town]
name = "brook"
[radio]
seed = 5
[[station]]
rf_channel = 22
call = "KBRK-A"
level_dbm = -77
[[station]]
rf_channel = 24
call = "KBRK-B"
level_dbm = -72
fading = { kind = "lognormal", sigma_db = 0.3, seconds = 5 }
[[loss]]
at_seconds = 72
seconds = 18
loss_db = 12
[[loss]]
rf_channel = 24
at_seconds = 141
seconds = 12
loss_db = 8
`

// Truth: arithmetic. The losses that a simulated town has are in the log as fades
// of that depth and length, at their time; a radio that is pulled out leaves a
// gap of that length, and nothing else.
func TestRun(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector makes minutes of it")
	}
	t.Parallel()
	town, err := sim.Parse([]byte(brook))
	require.NoError(t, err)
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	l := &loose{Tuner: radio, began: radio.Now(), pulls: []span{{100, 120}}}
	path := filepath.Join(t.TempDir(), "roof.watch")
	some, all := chosen(t, "22,24")
	w, err := Open(path, Settings{Every: 3 * time.Second, RFChannels: []int{22, 24}}, radio.Now())
	require.NoError(t, err)
	status := &Status{}
	began := time.Now()
	err = Run(context.Background(), l, w, Options{
		Channels: some, Plan: all, Every: 3 * time.Second, For: 168 * time.Second,
		Open: l.open, Simulated: radio, Status: status,
	})
	require.NoError(t, err)
	require.NoError(t, w.Close(radio.Now()))
	t.Logf("168 s of two channels in %v", time.Since(began))
	log, err := Read(path)
	require.NoError(t, err)
	require.Len(t, log.Gaps, 1)
	require.InDelta(t, 1+2+5+10+15, log.Gaps[0].Seconds, 3, "it is looked for less and less often")
	require.Contains(t, log.Gaps[0].Reason, "pulled out")
	r := Conclude(log)
	require.Len(t, r.Channels, 2)
	for _, c := range r.Channels {
		require.InDelta(t, 168-log.Gaps[0].Seconds, c.Watched.Seconds(), 9)
		require.Zero(t, c.Impulse)
		require.Zero(t, c.Lost)
	}
	type event struct {
		rf                   int
		at, seconds, depthDB float64
	}
	var got []event
	for _, f := range log.Fades {
		got = append(got, event{f.RFChannel, f.Time.Sub(l.began).Seconds(), f.Seconds, f.DepthDB()})
	}
	require.Len(t, got, 3, "%v", got)
	for i, want := range []event{{22, 72, 18, 12}, {24, 72, 18, 12}, {24, 141, 12, 8}} {
		if got[0].rf == 24 && i < 2 {
			want = []event{{24, 72, 18, 12}, {22, 72, 18, 12}}[i]
		}
		require.Equal(t, want.rf, got[i].rf)
		require.InDelta(t, want.at, got[i].at, 3.5)
		require.InDelta(t, want.seconds, got[i].seconds, 3.5)
		require.InDelta(t, want.depthDB, got[i].depthDB, 1.5)
	}
	s := status.Snapshot()
	require.True(t, s.Up)
	require.Equal(t, 1, s.Losses)
	require.Len(t, s.Channels, 2)
	require.Equal(t, 2, s.Channels[1].Fades)
}

// Truth: common sense. A radio that never gave a reading is not waited for, and
// an end that was asked for is no failure.
func TestRunGivesUp(t *testing.T) {
	town, err := sim.Parse([]byte(brook))
	require.NoError(t, err)
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	some, all := chosen(t, "22")
	l := &loose{Tuner: radio, began: radio.Now(), pulls: []span{{0, 1e6}}}
	w, err := Open(filepath.Join(t.TempDir(), "roof.watch"), Settings{Every: time.Second, RFChannels: []int{22}}, radio.Now())
	require.NoError(t, err)
	o := Options{Channels: some, Plan: all, Every: time.Second, Open: l.open, Simulated: radio}
	require.ErrorContains(t, Run(context.Background(), l, w, o), "pulled out")
	require.Zero(t, l.opens)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	require.NoError(t, Run(ctx, l, w, o))
}

// Truth: arithmetic. Pulses that a simulated town has are noticed; the town's
// stations, of every level, and a dongle's own noise are not taken for pulses.
func TestPulses(t *testing.T) {
	t.Parallel()
	hear := func(text string) (found, of int) {
		town, err := sim.Parse([]byte(text))
		require.NoError(t, err)
		radio, err := sim.New(town, sim.Options{})
		require.NoError(t, err)
		ear := &listener{Tuner: radio}
		ctx := context.Background()
		x := make([]complex64, 60000)
		for n := 15; n <= 30; n++ {
			c, _ := band.Plans()[0].Channel(n)
			for _, offset := range []float64{1e6, 3e6, 5e6} {
				require.NoError(t, radio.Tune(ctx, tuner.Tuning{CenterHz: c.LowerHz + offset, RateHz: 2.4e6, GainDB: 40}))
				_, err := ear.Read(ctx, x)
				require.NoError(t, err)
				of++
				found += one(ear.impulsive())
			}
		}
		return found, of
	}
	stations := "[town]\nname = \"brook\"\n"
	for i, level := range []string{"-100", "-90", "-80", "-70", "-60", "-60"} {
		stations += "[[station]]\nrf_channel = " + []string{"16", "18", "20", "22", "24", "25"}[i] + "\nlevel_dbm = " + level + "\n"
	}
	found, of := hear(stations)
	require.Zero(t, found, "of %d stays without pulses", of)
	found, of = hear(stations + "[[impulses]]\nlevel_dbm = -65\ndecay_us = 20\nbursts_per_second = 120\npulses_per_burst = 3\nspread = 0.1\n")
	t.Logf("pulses noticed in %d of %d stays", found, of)
	require.Greater(t, found, of*3/4)
}

// Truth: the update's own word for how many stays a channel's slices take: a tick
// is complete when all of them were heard anew, whatever the radio's rate.
func TestATickTakesAllSlices(t *testing.T) {
	town, err := sim.Parse([]byte(brook))
	require.NoError(t, err)
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	some, _ := chosen(t, "22")
	w, err := Open(filepath.Join(t.TempDir(), "roof.watch"), Settings{Every: time.Second, RFChannels: []int{22}}, radio.Now())
	require.NoError(t, err)
	status := &Status{}
	r := &runner{
		Options: Options{Channels: some, Every: time.Second, Status: status},
		writer:  w, clock: newClock(radio), ear: &listener{Tuner: radio}, round: newRound(),
	}
	ticks := func() int {
		for _, c := range status.Snapshot().Channels {
			return c.Readings
		}
		return 0
	}
	for _, stays := range []int{6, 3, 1} {
		before := ticks()
		for k := range stays {
			require.Equal(t, before, ticks(), "after %d of %d", k, stays)
			require.NoError(t, r.take(context.Background(), meter.Update{Channel: some[0], State: meter.Measuring, Margin: &measure.Estimate{Value: 4}, Stays: stays}))
		}
		require.Equal(t, before+1, ticks(), "%d stays", stays)
	}
	require.NoError(t, w.Close(radio.Now()))
}
