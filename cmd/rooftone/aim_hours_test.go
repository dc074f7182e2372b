package main

import (
	"bufio"
	"context"
	"flag"
	"io"
	"math"
	"net/http"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/plot/live"
	"rooftone/plot/page"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
)

var hours = flag.Float64("hours", 0.2, "how many hours of readings TestAimForHours shows")

// Truth: the runtime's own counts. Whatever shows the meter's readings, the
// terminal and a page with a client, has after hours of them no more memory and
// no more goroutines than after a tenth of that. The meter's own hours are
// TestSoak's in scan/meter.
func TestAimForHours(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector has memory of its own")
	}
	some, _, err := (&visitFlags{plan: "us"}).channels([]string{"22,24"})
	require.NoError(t, err)
	s := &aimSession{latest: map[int]meter.Update{}, options: meter.Options{Channels: some}, console: &console{stderr: io.Discard}}
	s.meter, err = meter.New(nil, s.options)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	l, err := page.Listen("loopback")
	require.NoError(t, err)
	served := s.serve(ctx, l)
	answer, err := http.Get(s.urls[0] + "events")
	require.NoError(t, err)
	events := make(chan int, 1)
	go func() {
		n := 0
		in := bufio.NewReader(answer.Body)
		for {
			if _, err := in.ReadSlice('\n'); err != nil {
				events <- n
				return
			}
			n++
		}
	}()
	v := &aimScreen{session: s, out: io.Discard, utf8: true, size: func() (int, int) { return 80, 24 }}
	for _, c := range some {
		v.picture.Channels = append(v.picture.Channels, live.Channel{Now: meter.Update{Channel: c}})
	}
	at := time.Date(2026, 3, 5, 9, 0, 0, 0, time.UTC)
	best := 6.5
	const parts = 10
	var heap [parts]uint64
	var routines [parts]int
	each := int(*hours * 3600 / parts * 1000 / onePace.Seconds() / 1000)
	for part := range heap {
		for i := range each {
			at = at.Add(onePace)
			margin := 6 + 0.5*math.Sin(float64(i)/50)
			u := meter.Update{
				Channel: some[i%2], Time: at, Count: int64(i), State: meter.Measuring, Method: measure.MarginEqualised,
				Margin: &measure.Estimate{Value: margin, Sigma: 0.2}, BestDB: &best, BestTime: at, BelowBestDB: best - margin,
			}
			s.note(u)
			v.take(u, at)
			if i%2 == 0 {
				v.draw(at)
			}
		}
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		heap[part], routines[part] = m.HeapAlloc, runtime.NumGoroutine()
	}
	stop()
	<-served
	answer.Body.Close()
	t.Logf("%d readings: heap %d, then %d bytes; %d, then %d goroutines; the client was told %d lines",
		parts*each, heap[1], heap[parts-1], routines[1], routines[parts-1], <-events)
	require.Less(t, heap[parts-1], heap[1]+200e3)
	require.LessOrEqual(t, routines[parts-1], routines[1])
}
