package meter

import (
	"context"
	"flag"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

var soak = flag.Duration("soak", time.Minute, "how long TestSoak follows a channel, in the radio's time; some 3 % of that is spent")

// Truth: the runtime's own counts and a radio that repeats itself: over any
// length of time memory stays flat, no goroutine is left and the reading stays.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector has memory of its own")
	}
	some, plan := channels(t, 14)
	r := &replayed{Tuner: bench(t, 15), heard: map[tuner.Tuning]tuner.Block{}, clock: time.Unix(0, 0)}
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
		if n++; n == 200 {
			runtime.GC()
			runtime.ReadMemStats(&early)
			start, first = u.Time, last
		}
		if n > 200 && u.Time.Sub(start) >= *soak {
			return errEnough
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	runtime.GC()
	runtime.ReadMemStats(&late)
	t.Logf("%d readings in %v: heap %d, then %d bytes; margin %.3f, then %.3f dB", n, *soak, early.HeapAlloc, late.HeapAlloc, first, last)
	require.Less(t, float64(late.HeapAlloc), float64(early.HeapAlloc)+500e3)
	require.LessOrEqual(t, runtime.NumGoroutine(), routines)
	require.InDelta(t, first, last, 0.1)
}
