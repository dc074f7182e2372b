package plot

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/watch"
)

var watchPicture = flag.String("watch", "", "draw the watch's picture to this file")

// fortnight is what was watched of four channels for sixteen days, a reading a
// minute: a common cable that fails now and then, a step, a drift, a bad time of
// the day and nine hours without a radio.
func fortnight(t *testing.T) *watch.Report {
	t.Helper()
	const days, every = 16, time.Minute
	start := time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)
	channels := []int{17, 21, 29, 33}
	var log bytes.Buffer
	at := func(since time.Duration) string { return start.Add(since).Format(time.RFC3339) }
	fmt.Fprintf(&log, "{\"kind\":\"watch\",\"schema\":%q}\n{\"kind\":\"start\",\"time\":%q,\"every_s\":60,\"rf_channels\":[17,21,29,33]}\n", watch.Schema, at(0))
	away := false
	rng := rand.New(rand.NewPCG(16, 4))
	slow := make([]float64, len(channels))
	var faults []time.Duration
	for range 24 {
		faults = append(faults, time.Duration(rng.Float64()*days*24)*time.Hour+time.Duration(rng.IntN(3600))*time.Second)
	}
	keep := math.Exp(-1.0 / 20)
	step := 5*24*time.Hour + 6170*time.Second
	for since := time.Duration(0); since < days*24*time.Hour; since += every {
		hours := since.Hours() + 12
		if since > 9*24*time.Hour && since < 9*24*time.Hour+9*time.Hour {
			if !away {
				fmt.Fprintf(&log, "{\"kind\":\"away\",\"time\":%q,\"reason\":\"usb:00000001 was unplugged\"}\n", at(since))
			}
			away = true
			continue
		}
		if away {
			fmt.Fprintf(&log, "{\"kind\":\"back\",\"time\":%q,\"seconds\":32400}\n", at(since))
			away = false
		}
		var margins []string
		for i, rf := range channels {
			slow[i] = keep*slow[i] + math.Sqrt(1-keep*keep)*rng.NormFloat64()
			m := []float64{10, 8, 11, 14}[i] + 1.2*slow[i] + 0.1*rng.NormFloat64()
			switch {
			case i == 0 && math.Mod(hours, 24) > 19 && math.Mod(hours, 24) < 22:
				m -= 6
			case i == 1 && since >= step:
				m -= 5
			case i == 2:
				m -= hours / (7 * 24) * 2
			}
			for _, f := range faults {
				if since >= f && since < f+3*time.Minute {
					m -= 12
				}
			}
			margins = append(margins, fmt.Sprintf("\"%d\":%.2f", rf, m))
		}
		fmt.Fprintf(&log, "{\"kind\":\"tick\",\"time\":%q,\"margin_db\":{%s}}\n", at(since), strings.Join(margins, ","))
	}
	l, err := watch.Decode(&log)
	require.NoError(t, err)
	require.Zero(t, l.Damaged)
	return watch.Conclude(l)
}

// Truth: the promise that every picture and text is drawn of whatever is there,
// and that what was found stands in it.
func TestWatchPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	r := fortnight(t)
	empty := &watch.Report{}
	one := &watch.Report{From: r.From, To: r.From, Channels: []watch.ChannelReport{{RFChannel: 22, NowDB: math.NaN(), MedianDB: math.Inf(-1), Needs: make([]watch.Need, 3)}}}
	for _, format := range []string{"png", "svg", "pdf"} {
		for _, report := range []*watch.Report{r, empty, one} {
			var b bytes.Buffer
			require.NoError(t, Course(&b, format, report, Options{}))
			require.NotZero(t, b.Len())
			b.Reset()
			require.NoError(t, DayCourse(&b, format, report, Options{}))
			require.NotZero(t, b.Len())
		}
	}
	require.Error(t, Course(&bytes.Buffer{}, "png", nil, Options{}))
	require.Error(t, DayCourse(&bytes.Buffer{}, "gif", r, Options{}))
	var b bytes.Buffer
	require.NoError(t, Course(&b, "svg", r, Options{}))
	for _, text := range []string{"RF 17", "RF 33", "How it held", "channel 21 changed by -", "of the time"} {
		require.Contains(t, b.String(), text)
	}
	if *watchPicture != "" {
		b.Reset()
		require.NoError(t, Course(&b, "png", r, Options{}))
		require.NoError(t, os.WriteFile(*watchPicture, b.Bytes(), 0o644))
	}
	for _, width := range []int{40, 80, 120} {
		b.Reset()
		require.NoError(t, WatchRows(&b, r, TextOptions{Width: width, UTF8: true}))
		require.Contains(t, b.String(), "goes with the hour")
		require.Contains(t, b.String(), "gets slowly worse")
		require.NoError(t, WatchRows(&b, one, TextOptions{Width: width}))
		require.NoError(t, WatchRows(&b, empty, TextOptions{Width: width}))
		for line := range strings.Lines(b.String()) {
			require.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), width, line)
		}
	}
}

// Truth: the documented meaning: an interval that holds everything says nothing, and
// is said so in words.
func TestAvailability(t *testing.T) {
	of := func(value, low, high float64) string {
		return availability(&watch.ChannelReport{Available: watch.Span{Value: value, Low: low, High: high}})
	}
	require.Equal(t, "100 % so far, too short", of(1, 0, 1))
	require.Equal(t, "100 % (98-100)", of(1, 0.98, 1))
	require.Equal(t, "0 % so far, too short", of(0, 0, 1))
	require.Equal(t, "50 %", of(0.5, math.NaN(), math.NaN()))
}
