package meter

import (
	"context"
	"errors"
	"math"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// switched is a radio whose antenna changes from one town's to another's at a
// moment of its own time.
type switched struct {
	*sim.Tuner
	after      *sim.Tuner
	moment     time.Duration
	at         tuner.Tuning
	gone       bool
	behind     time.Duration // how much later it is by the first's time
	switchedAt time.Time
}

func (s *switched) Tune(ctx context.Context, to tuner.Tuning) error {
	s.at = to
	if s.gone {
		return s.after.Tune(ctx, to)
	}
	return s.Tuner.Tune(ctx, to)
}

func (s *switched) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if s.gone {
		b, err := s.after.Read(ctx, dst)
		b.Start = b.Start.Add(s.behind)
		return b, err
	}
	b, err := s.Tuner.Read(ctx, dst)
	if s.Tuner.Elapsed() >= s.moment && err == nil {
		s.gone, s.behind = true, s.Tuner.Elapsed()
		s.switchedAt = b.Start.Add(time.Duration(float64(len(dst)) / b.RateHz * 1e9))
		err = s.after.Tune(ctx, s.at)
	}
	return b, err
}

func bench(t testing.TB, cnDB ...float64) *sim.Tuner {
	town, err := sim.Bench(cnDB...)
	require.NoError(t, err)
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	return radio
}

func channels(t testing.TB, numbers ...int) (some, plan []band.Channel) {
	for _, n := range numbers {
		c, ok := band.Plans()[0].Channel(n)
		require.True(t, ok)
		some = append(some, c)
	}
	return some, band.Plans()[0].Channels
}

var errEnough = errors.New("enough")

// follow collects the readings of a while of the radio's time after the careful
// visit.
func follow(t testing.TB, r tuner.Tuner, o Options, while time.Duration) (out []Update) {
	m, err := New(r, o)
	require.NoError(t, err)
	err = m.Run(context.Background(), func(u Update) error {
		if u.State == Learning {
			return nil
		}
		out = append(out, u)
		if u.Time.Sub(out[0].Time) > while {
			return errEnough
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	return out
}

func margins(list []Update) (v []float64) {
	for _, u := range list {
		if u.Margin != nil {
			v = append(v, u.Margin.Value)
		} else {
			v = append(v, math.NaN())
		}
	}
	return v
}

func spread(v []float64) (mean, rms float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		rms += (x - mean) * (x - mean) / float64(len(v))
	}
	return mean, math.Sqrt(rms)
}

// Truth: the town's own levels; on a flat channel the margin is the C/N less
// the threshold. The reach is the product's: 0.5 dB of jitter at 15 dB, ten
// readings a second, and below the decode point it still reads.
func TestReadsTrulyAndQuietly(t *testing.T) {
	for _, x := range []struct{ cn, within, jitter float64 }{
		{30, 0.5, 0.2},
		{15, 0.3, 0.2},
		{3, 0.4, 0.3},
		{-5, 0.8, 0.5},
		{-12, 2, 1.5},
		{-18, 3, 2},
	} {
		if testing.Short() && x.cn != 15 {
			continue // the race detector takes its time
		}
		some, plan := channels(t, 14)
		list := follow(t, bench(t, x.cn), Options{Channels: some, Plan: plan}, time.Second)
		v := margins(list)
		mean, rms := spread(v)
		last := list[len(list)-1]
		t.Logf("C/N %3.0f: %2d readings, margin %.2f, true %.2f, jitter %.3f dB, σ %.2f, %s, trained %v, MER %v",
			x.cn, len(v), mean, x.cn-15.2, rms, last.Margin.Sigma, last.Method, last.Trained, last.MER)
		require.Greater(t, len(v), 20)
		require.InDelta(t, x.cn-15.2, mean, x.within)
		require.Less(t, rms, x.jitter)
	}
}

// Truth: the moment at which the towns are exchanged. Within 0.3 s the reading
// must be within 0.5 dB of where it stays.
func TestFollowsAStep(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for _, x := range []struct{ from, to, near float64 }{{21, 15, 0.5}, {15, 21, 0.5}, {3, -9, 1.5}, {-9, 3, 1}} {
		if testing.Short() && x.from != 21 {
			continue
		}
		some, plan := channels(t, 14)
		before := bench(t, x.from)
		r := &switched{Tuner: before, after: bench(t, x.to), moment: 3 * time.Second}
		list := follow(t, r, Options{Channels: some, Plan: plan}, 3500*time.Millisecond)
		step := r.switchedAt
		settled, _ := spread(margins(list[len(list)-8:]))
		var late time.Duration
		for _, u := range list {
			if after := u.Time.Sub(step); after > 0 && (u.Margin == nil || math.Abs(u.Margin.Value-settled) > x.near) {
				late = after
			}
		}
		t.Logf("from %.0f to %.0f dB: settled at %.2f, last reading off by more than %.1f dB %v after the step", x.from, x.to, settled, x.near, late)
		require.InDelta(t, x.to-15.2, settled, 1.5)
		require.LessOrEqual(t, late, 300*time.Millisecond)
	}
}

// Truth: the promise of the README: ten readings a second of one channel, two
// of each of four.
func TestEnoughReadings(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated radio takes its time under the race detector")
	}
	some, plan := channels(t, 14, 16, 18, 20)
	list := follow(t, bench(t, 9, 12, 15, 18), Options{Channels: some, Plan: plan}, 2*time.Second)
	count := map[int]int{}
	for i, u := range list {
		count[u.Channel.Number]++
		require.NotNil(t, u.Margin, "reading %d", i)
		require.Equal(t, Measuring, u.State)
	}
	t.Log(count)
	for _, c := range some {
		require.GreaterOrEqual(t, count[c.Number], 4)
	}
}

// Truth: nothing is there, so nothing may be read, but for the bound.
func TestAnEmptyChannel(t *testing.T) {
	some, plan := channels(t, 30)
	list := follow(t, bench(t, 15), Options{Channels: some, Plan: plan}, time.Second)
	heard := 0
	for _, u := range list {
		if u.State == Measuring {
			heard++
			continue
		}
		require.Nil(t, u.Margin)
		require.NotNil(t, u.AtMostDB)
		require.Less(t, *u.AtMostDB, -20.0)
	}
	require.LessOrEqual(t, heard, len(list)/20)
}

// Truth: the runtime's own counts. Nothing grows, and nothing is left behind.
func TestNothingGrows(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector has memory of its own")
	}
	some, plan := channels(t, 14)
	r := bench(t, 15)
	m, err := New(r, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	routines := runtime.NumGoroutine()
	ctx, stop := context.WithCancel(context.Background())
	var early, late runtime.MemStats
	n := 0
	require.NoError(t, m.Run(ctx, func(u Update) error {
		switch n++; n {
		case 60:
			runtime.GC()
			runtime.ReadMemStats(&early)
		case 160:
			runtime.GC()
			runtime.ReadMemStats(&late)
			stop()
		}
		return nil
	}))
	t.Logf("heap %d, then %d bytes", early.HeapAlloc, late.HeapAlloc)
	require.Less(t, float64(late.HeapAlloc), float64(early.HeapAlloc)+300e3)
	require.LessOrEqual(t, runtime.NumGoroutine(), routines)
}

// Truth: the town's own level. At a C/N of -14 dB one field's training drowns in
// noise; eight together prove within seconds that it is 8-VSB, while the readings
// go on as often as ever.
func TestFaintTraining(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector takes its time")
	}
	for seed := range uint64(3) {
		town, err := sim.Bench(-14)
		require.NoError(t, err)
		seed += 40
		radio, err := sim.New(town, sim.Options{Seed: &seed})
		require.NoError(t, err)
		some, plan := channels(t, 14)
		m, err := New(radio, Options{Channels: some, Plan: plan})
		require.NoError(t, err)
		var first, last time.Time
		var gap time.Duration
		err = m.Run(context.Background(), func(u Update) error {
			if u.State == Learning {
				return nil
			}
			if first.IsZero() {
				first, last = u.Time, u.Time
			}
			gap = max(gap, u.Time.Sub(last))
			last = u.Time
			if u.Trained || u.Time.Sub(first) > 6*time.Second {
				return errEnough
			}
			return nil
		})
		require.ErrorIs(t, err, errEnough)
		t.Logf("seed %d: proven after %v, longest gap %v", seed, last.Sub(first), gap)
		require.Less(t, last.Sub(first), 6*time.Second)
		require.Less(t, gap, 50*time.Millisecond)
	}
}
