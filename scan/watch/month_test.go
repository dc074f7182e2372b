package watch

import (
	"flag"
	"math"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var noon = time.Date(2026, 3, 5, 12, 0, 0, 0, time.FixedZone("", -5*3600))

var monthDays = flag.Int("days", 1, "how many days TestMonth watches")

// house makes the readings of channels with slow fading, a day, a common cable
// and a step, as arithmetic and not as a radio.
type house struct {
	rng   *rand.Rand
	slow  []float64
	start time.Time
	step  time.Duration // when not 0: when 4 dB are lost for good on the first channel
}

func newHouse(channels int) *house {
	return &house{rng: rand.New(rand.NewPCG(7, 11)), slow: make([]float64, channels), start: noon}
}

// tick makes the readings after a time.
func (h *house) tick(since time.Duration, every float64) Tick {
	t := Tick{Time: h.start.Add(since), Since: since}
	t.Readings = make([]Reading, len(h.slow))
	keep := math.Exp(-every / 600)
	hours := since.Hours() + 12
	for i := range h.slow {
		h.slow[i] = keep*h.slow[i] + math.Sqrt(1-keep*keep)*h.rng.NormFloat64()
		m := 8 + float64(i) + 2*h.slow[i] - 1.5*math.Cos(2*math.Pi*(hours-8)/24) + 0.1*h.rng.NormFloat64()
		if h.step > 0 && since >= h.step && i == 0 {
			m -= 4
		}
		t.Readings[i] = Reading{RFChannel: 20 + i, MarginDB: &m}
	}
	return t
}

func numbers(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = 20 + i
	}
	return out
}

// heap is how much memory is in use.
func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// Truth: the promise: a month at a reading a second on eight channels leaves a
// log that is bounded, takes no more memory at its end than at its beginning,
// and is read within seconds. It is a day here; -days 30 makes it a month.
func TestMonth(t *testing.T) {
	days := *monthDays
	path := filepath.Join(t.TempDir(), "roof.watch")
	b := usualBounds()
	b.sync = 5 * time.Minute // a disk that takes a millisecond takes 9 minutes for a month's
	w, err := Open(path, Settings{bounds: &b, Every: time.Second, RFChannels: numbers(8), Notice: func(s string) { t.Error(s) }}, noon)
	require.NoError(t, err)
	h := newHouse(8)
	var first, most uint64
	var largest int64
	seconds := days * 86400
	if testing.Short() {
		seconds = 6 * 3600
	}
	began := time.Now()
	for s := range seconds {
		require.NoError(t, w.Add(h.tick(time.Duration(s)*time.Second, 1)))
		if s%3600 == 3599 {
			if first == 0 {
				first = heap()
			}
			most = max(most, heap())
			largest = max(largest, w.Bytes())
		}
	}
	require.NoError(t, w.Close(noon.Add(time.Duration(seconds)*time.Second)))
	took := time.Since(began)
	require.Equal(t, int64(seconds)*8, w.Kept())
	require.Less(t, most, first+8<<20, "memory stays as it is")
	require.Less(t, largest, int64(48<<20))

	began = time.Now()
	l, err := Read(path)
	require.NoError(t, err)
	read := time.Since(began)
	require.Zero(t, l.Damaged)
	r := Conclude(l)
	concluded := time.Since(began)
	require.Len(t, r.Channels, 8)
	readings := 0
	for i := range l.Hours {
		readings += l.Hours[i].Readings
	}
	require.Equal(t, seconds*8, readings, "no reading is missing from the hours")
	t.Logf("%d days: %.1f MB at the most, heap %.1f to %.1f MB, written in %v, read in %v, concluded in %v", days, float64(largest)/1e6, float64(first)/1e6, float64(most)/1e6, took, read, concluded)
}
