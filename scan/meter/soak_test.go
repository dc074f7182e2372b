package meter

import (
	"context"
	"flag"
	"math"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

var hours = flag.Float64("hours", 0.03, "how long TestSoak follows a channel, in hours of the radio's time; some 3 % of that is spent")

// shuffled is a replayed radio that goes through what it heard in no order, so
// that no two rounds are alike.
type shuffled struct {
	*replayed
	state uint64
}

func (s *shuffled) Read(ctx context.Context, dst []complex64) (b tuner.Block, err error) {
	s.state = s.state*6364136223846793005 + 1442695040888963407
	s.stays[s.to] = int(s.state >> 33)
	return s.replayed.Read(ctx, dst)
}

// fill hears all there is to be heard at a tuning.
func (r *replayed) fill(ctx context.Context, to tuner.Tuning, samples int) error {
	for range turns {
		if err := r.Tune(ctx, to); err != nil {
			return err
		}
		if _, err := r.Read(ctx, make([]complex64, samples)); err != nil {
			return err
		}
	}
	return nil
}

// Truth: the runtime's own counts, and a radio before which nothing changes: over
// any length of time memory stays flat, no goroutine is left and the reading
// neither drifts nor wanders. Tenths of the time are compared, from the second
// on: in the first the noise finds from what a careful visit took it for to what
// many refreshings agree on.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector has memory of its own")
	}
	some, plan := channels(t, 14)
	r := &shuffled{replayed: newReplayed(bench(t, 15))}
	m, err := New(r, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	routines := runtime.NumGoroutine()
	const parts = 10
	part := time.Duration(*hours / parts * float64(time.Hour))
	var (
		heap, mallocs [parts]float64
		mean, square  [parts]float64
		count         [parts]float64
		at            int
		start         time.Time
	)
	look := func() {
		var s runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&s)
		heap[at], mallocs[at] = float64(s.HeapAlloc), float64(s.Mallocs)
	}
	err = m.Run(context.Background(), func(u Update) error {
		if u.State != Measuring {
			return nil
		}
		if start.IsZero() {
			f := m.followers[0]
			for _, h := range f.hops {
				require.NoError(t, r.fill(context.Background(), tuner.Tuning{CenterHz: h.centerHz, RateHz: m.RateHz, GainDB: f.gainDB}, len(m.buffer)))
			}
			for _, v := range m.taught.vacant {
				require.NoError(t, r.fill(context.Background(), tuner.Tuning{CenterHz: v.centerHz, RateHz: m.RateHz, GainDB: v.gainDB}, len(m.buffer)))
			}
			start = r.clock
			return nil
		}
		count[at]++
		mean[at] += u.Margin.Value
		square[at] += u.Margin.Value * u.Margin.Value
		if u.Time.Sub(start) >= time.Duration(at+1)*part {
			look()
			if at++; at == parts {
				return errEnough
			}
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	runtime.KeepAlive(m)
	runtime.KeepAlive(r)
	var all, least, most float64
	least, most = math.Inf(1), math.Inf(-1)
	for i := range parts {
		mean[i] /= count[i]
		all += count[i]
		jitter := math.Sqrt(math.Max(0, square[i]/count[i]-mean[i]*mean[i]))
		t.Logf("until %8v: %.0f readings, margin %+.4f dB, jitter %.4f dB, heap %.0f bytes, %.1f allocations a reading",
			(time.Duration(i+1) * part).Round(time.Second), count[i], mean[i], jitter, heap[i], (mallocs[i]-mallocs[max(0, i-1)])/count[i])
		if i > 0 {
			least, most = math.Min(least, mean[i]), math.Max(most, mean[i])
		}
	}
	t.Logf("%.0f readings in %v: from the second tenth to the last %+.4f dB, %.4f dB between extremes, %+.0f bytes; noise moved by %.4f",
		all, parts*part, mean[parts-1]-mean[1], most-least, heap[parts-1]-heap[1], m.followers[0].drift)
	require.Less(t, heap[parts-1], heap[1]+64e3)
	require.LessOrEqual(t, runtime.NumGoroutine(), routines)
	require.Less(t, most-least, 0.05)
}
