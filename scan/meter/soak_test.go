package meter

import (
	"context"
	"flag"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var soak = flag.Duration("soak", time.Minute, "how long TestSoak follows a channel, in the radio's time; some 3 % of that is spent")

// Truth: the runtime's own counts and a radio that repeats itself: over any
// length of time memory stays flat, no goroutine is left and the reading stays.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector has memory of its own")
	}
	some, plan := channels(t, 14)
	r := newReplayed(bench(t, 15))
	m, err := New(r, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	routines := runtime.NumGoroutine()
	var early, late runtime.MemStats
	var start time.Time
	var first, last float64
	n := 0
	err = m.Run(context.Background(), func(u Update) error {
		if u.State != Measuring {
			return nil
		}
		last = u.Margin.Value
		if n++; n == 3000 { // all that is replayed was heard once
			runtime.GC()
			runtime.ReadMemStats(&early)
			start, first = u.Time, last
		}
		if n > 3000 && u.Time.Sub(start) >= *soak {
			return errEnough
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	runtime.GC()
	runtime.ReadMemStats(&late)
	runtime.KeepAlive(m)
	runtime.KeepAlive(r)
	t.Logf("%d readings in %v: heap %d, then %d bytes; margin %.3f, then %.3f dB, noise moved by %.4f",
		n, *soak, early.HeapAlloc, late.HeapAlloc, first, last, m.followers[0].drift)
	require.Less(t, float64(late.HeapAlloc), float64(early.HeapAlloc)+1e6)
	require.LessOrEqual(t, runtime.NumGoroutine(), routines)
	require.InDelta(t, first, last, 0.1)
}
