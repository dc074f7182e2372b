package meter

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner/sim"
)

// Truth: the town's level. A station that becomes 45 dB stronger, as when an
// amplifier is switched on, drives the radio onto its rails; the meter says so
// at once, and goes back to a careful visit that finds a gain that fits.
func TestOverload(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated radio takes its time under the race detector")
	}
	town, err := sim.Bench(15)
	require.NoError(t, err)
	town.Stations[0].LevelDBm += 45
	loud, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	some, plan := channels(t, 14)
	r := &switched{Tuner: bench(t, 15), after: loud, moment: 2 * time.Second}
	m, err := New(r, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	learnt, warned, after := 0, false, 0
	var gains []float64
	var last Update
	require.NoError(t, runFor(t, m, func(u Update) bool {
		switch {
		case u.State == Learning:
			learnt++
		case u.Overload:
			warned = true
		case learnt == 2:
			after++
			require.NotNil(t, u.Margin)
			require.Greater(t, u.Margin.Value, 14.)
			gains = append(gains, *u.GainDB)
		}
		last = u
		return after > 90
	}))
	// What a careful look at the same station says: see scan's own tests.
	t.Logf("margin %.1f at %.1f dB of gain", last.Margin.Value, *last.GainDB)
	require.InDelta(t, 20.2, last.Margin.Value, 1)
	require.True(t, warned)
	require.Less(t, gains[0], 40.)
}

// runFor runs a meter until a reading is enough.
func runFor(t *testing.T, m *Meter, enough func(Update) bool) error {
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	done := false
	err := m.Run(ctx, func(u Update) error {
		if done = done || enough(u); done {
			stop()
		}
		return nil
	})
	require.True(t, done, "the time ran out")
	return err
}

// Truth: what the reset promises, on a station that became weaker.
func TestResetBest(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	some, plan := channels(t, 14)
	r := &switched{Tuner: bench(t, 21), after: bench(t, 15), moment: 2 * time.Second}
	m, err := New(r, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	n, reset := 0, 0
	require.NoError(t, runFor(t, m, func(u Update) bool {
		if u.State != Measuring || !r.gone || u.Time.Sub(r.switchedAt) < 500*time.Millisecond {
			return false
		}
		if n++; n < 10 {
			require.InDelta(t, 5.8, *u.BestDB, 0.5)
			require.InDelta(t, 6, u.BelowBestDB, 0.5)
			return false
		}
		if reset == 0 {
			m.ResetBest(14)
		}
		if reset++; reset < 3 {
			return false // the one under way may still have the old one
		}
		require.InDelta(t, -0.2, *u.BestDB, 0.5)
		require.Less(t, u.BelowBestDB, 0.2)
		return reset > 8
	}))
}

// Truth: a straight line with known scatter.
func TestTrend(t *testing.T) {
	at := time.Unix(0, 0)
	for _, x := range []struct {
		slope, scatter float64
		want           Trend
	}{{0, 0.05, Steady}, {2, 0.05, Rising}, {-1, 0.05, Falling}, {0.1, 0.01, Steady}, {0.5, 2, Steady}} {
		var h history
		for k := range 60 {
			at = at.Add(31 * time.Millisecond)
			v := x.slope * 0.031 * float64(k)
			if k%2 == 0 {
				v += x.scatter
			} else {
				v -= x.scatter
			}
			h.add(at, v)
		}
		got, slope := h.trend(3)
		require.Equal(t, x.want, got, "%+v", x)
		if got != Steady {
			require.InDelta(t, x.slope, slope, 0.2)
		}
	}
}

// Truth: arithmetic. A best that was is not forgotten, and one lucky reading
// does not make one.
func TestBestIsNoLuck(t *testing.T) {
	var h history
	at := time.Unix(0, 0)
	for k := range 60 {
		at = at.Add(31 * time.Millisecond)
		v := 5.
		if k == 30 {
			v = 9
		}
		h.add(at, v)
	}
	require.Less(t, h.best, 5.6)
	require.Greater(t, h.best, 5.2)
	h.reset()
	h.add(at.Add(31*time.Millisecond), 5)
	require.InDelta(t, 5, h.best, 0.1)
}

// Truth: the town's level. A station that was too strong for the highest gain
// and becomes weak is given that gain back.
func TestGainComesBack(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated radio takes its time under the race detector")
	}
	town, err := sim.Bench(15)
	require.NoError(t, err)
	town.Stations[0].LevelDBm += 45
	loud, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	some, plan := channels(t, 14)
	r := &switched{Tuner: loud, after: bench(t, 15), moment: 2500 * time.Millisecond}
	m, err := New(r, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	learnt, after := 0, 0
	require.NoError(t, runFor(t, m, func(u Update) bool {
		if u.State == Learning {
			learnt++
		} else if learnt == 2 {
			after++
			require.Greater(t, *u.GainDB, 45.)
			require.InDelta(t, -0.2, u.Margin.Value, 0.4)
		}
		return after > 12
	}))
}
