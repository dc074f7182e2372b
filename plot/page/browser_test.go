package page

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"flag"
	"math"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
)

var shots = flag.String("shots", "", "keep pictures of the page in this folder")

// feeder publishes readings at a rate like a radio's.
type feeder struct {
	page   *Page
	mutex  sync.Mutex
	margin float64
	best   float64
	silent bool
}

func (f *feeder) set(margin, best float64) {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	f.margin, f.best = margin, best
}

func (f *feeder) hush(on bool) {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	f.silent = on
}

func (f *feeder) run(ctx context.Context) {
	tick := time.NewTicker(31 * time.Millisecond)
	defer tick.Stop()
	for n := int64(1); ; n++ {
		select {
		case <-ctx.Done():
			return
		case now := <-tick.C:
			f.mutex.Lock()
			if !f.silent {
				for i, c := range f.page.Channels {
					f.page.Publish(reading(c, n, now, f.margin-2*float64(i), f.best-2*float64(i)))
				}
			}
			f.mutex.Unlock()
		}
	}
}

func reading(c band.Channel, n int64, now time.Time, margin, best float64) meter.Update {
	return meter.Update{
		Channel: c, Count: n, Time: now, State: meter.Measuring, Method: measure.MarginEqualised,
		Margin: &measure.Estimate{Value: margin, Sigma: 0.2}, Trained: true,
		CN:     &measure.Estimate{Value: margin + 15.2, Sigma: 0.1},
		BestDB: &best, BestTime: now, BelowBestDB: math.Max(0, best-margin), Trend: meter.Steady,
	}
}

func some(t *testing.T, numbers ...int) (list []band.Channel) {
	for _, n := range numbers {
		c, ok := band.Plans()[0].Channel(n)
		require.True(t, ok)
		list = append(list, c)
	}
	return list
}

// serve serves the page on a port (0: any) until stop is called.
func serve(t *testing.T, p *Page, address string) (l net.Listener, stop func()) {
	l, err := Listen(address)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Serve(ctx, l) }()
	stop = sync.OnceFunc(func() {
		cancel()
		require.NoError(t, <-done)
	})
	t.Cleanup(stop)
	return l, stop
}

type played struct {
	Kind     string
	Hz       float64
	At       float64
	MarginDB *float64
}

func (b *chromium) scheduled() (list []played) {
	text := b.eval("JSON.stringify(rooftone.scheduled)").(string)
	require.NoError(b.t, json.Unmarshal([]byte(text), &list))
	return list
}

func count(list []played, kind string) (n int) {
	for _, p := range list {
		if p.Kind == kind {
			n++
		}
	}
	return n
}

func (b *chromium) shot(name string) {
	if *shots == "" {
		return
	}
	data, err := base64.StdEncoding.DecodeString(b.ask("Page.captureScreenshot", map[string]any{"format": "png"})["data"].(string))
	require.NoError(b.t, err)
	require.NoError(b.t, os.WriteFile(filepath.Join(*shots, name+".png"), data, 0o644))
}

// Truth: what the README promises of the page, seen in a real browser.
func TestPageInABrowser(t *testing.T) {
	b := startChromium(t)
	marks := make(chan Mark, 4)
	var p *Page
	kept := 0
	p = New(Options{
		Source: "sim:nowhere", Channels: some(t, 22, 24), Labels: map[int]string{22: "North Hill"},
		Mark: func(_ context.Context, m Mark) (string, error) {
			if !m.Quick {
				time.Sleep(500 * time.Millisecond) // it is listened to
			}
			marks <- m
			kept++
			p.Marked(kept, m.Place)
			return "kept: " + m.Place, nil
		},
		Careful: true,
		Reset:   func(int) {},
	})
	f := &feeder{page: p, margin: 6.2, best: 8.3}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go f.run(ctx)
	l, stop := serve(t, p, "loopback")
	url := p.URLs(l)[0]

	// A wrong token sees nothing.
	wrong := "http://" + l.Addr().String() + "/AAAAAAAAAAAAAAAAAAAAAA/"
	b.open(wrong)
	b.until("a refusal", 10*time.Second, func() bool { return b.eval("document.body.innerText").(string) == "not found\n" })
	require.Equal(t, float64(404), b.eval("fetch('events').then(r => r.status)"))
	require.Zero(t, p.Clients())

	// The page updates, at least ten times a second.
	b.open(url)
	b.until("the number", 10*time.Second, func() bool { return b.text("number") == "+6.2" })
	require.Equal(t, "Channel 22, North Hill", b.text("name"))
	require.Equal(t, "2.1 below the best, +8.3", b.text("best"))
	before := b.eval("rooftone.updates()").(float64)
	began := time.Now()
	time.Sleep(1500 * time.Millisecond)
	rate := (b.eval("rooftone.updates()").(float64) - before) / time.Since(began).Seconds()
	t.Logf("%.1f updates a second", rate)
	require.GreaterOrEqual(t, rate, 10.)
	require.Contains(t, b.text("where"), "decodes, slim")
	b.shot("decodes")

	// Notes are scheduled at the pitch of the margin: one semitone a dB from
	// 440 Hz, by the page's own text.
	require.Empty(t, b.scheduled())
	b.eval("document.getElementById('sound').click()")
	b.until("notes", 5*time.Second, func() bool { return count(b.scheduled(), "note") > 4 })
	notes := b.scheduled()
	for i, n := range notes {
		require.InDelta(t, 440*math.Pow(2, *n.MarginDB/12), n.Hz, 0.01)
		require.InDelta(t, 6.2, *n.MarginDB, 1e-9)
		if i > 0 {
			require.InDelta(t, 0.2, n.At-notes[i-1].At, 0.1)
		}
	}
	// Falling through the decode point, coming back, and back at the best.
	f.set(-3, 8.3)
	b.until("the fall is heard", 5*time.Second, func() bool { return count(b.scheduled(), "undecode") == 2 })
	b.until("low notes", 5*time.Second, func() bool {
		list := b.scheduled()
		last := list[len(list)-1]
		return last.Kind == "note" && math.Abs(last.Hz-440*math.Pow(2, -3./12)) < 0.01
	})
	require.Equal(t, "cannot decode yet", b.text("where"))
	b.shot("short")
	f.set(2, 8.3)
	b.until("the rise is heard", 5*time.Second, func() bool { return count(b.scheduled(), "decode") == 2 })
	require.Zero(t, count(b.scheduled(), "best"))
	f.set(8.25, 8.3)
	b.until("the best is heard", 5*time.Second, func() bool { return count(b.scheduled(), "best") == 2 })
	time.Sleep(1500 * time.Millisecond)
	require.Equal(t, 2, count(b.scheduled(), "best"), "once is enough")

	// The widest number fits the phone's width.
	f.set(-12.3, 8.3)
	b.until("a wide number", 5*time.Second, func() bool { return b.text("number") == "−12.3" })
	require.True(t, b.eval("document.documentElement.scrollWidth <= innerWidth && document.getElementById('number').scrollWidth <= document.getElementById('number').clientWidth + 1").(bool))
	b.shot("wide")
	f.set(8.25, 8.3)

	// The other channel.
	b.eval("document.querySelector('#channels button:nth-child(2)').click()")
	b.until("the other channel", 5*time.Second, func() bool { return b.text("number") == "+6.3" })
	b.eval("document.querySelector('#channels button').click()")

	// Marks arrive.
	b.eval("document.getElementById('place').value = 'chimney, east'; document.getElementById('bearing').value = '137,5'; document.getElementById('height').value = '20 ft'; document.getElementById('careful').click()")
	require.Equal(t, "Listening to all wanted channels: hold still…", b.text("kept"))
	require.Equal(t, true, b.eval("document.getElementById('careful').disabled"))
	select {
	case m := <-marks:
		require.Equal(t, "chimney, east", m.Place)
		require.Equal(t, 137.5, *m.BearingDeg)
		require.Equal(t, 6.1, *m.HeightM)
		require.Equal(t, "feet", m.Units)
		require.False(t, m.Quick)
	case <-time.After(5 * time.Second):
		t.Fatal("no mark came")
	}
	b.until("the mark is acknowledged", 5*time.Second, func() bool { return b.text("kept") == "kept: chimney, east" })
	b.until("the list of marks", 5*time.Second, func() bool { return b.text("marks") == "1 marked, the last: chimney, east" })
	b.eval("document.getElementById('kept').scrollIntoView()")
	b.shot("marked")
	b.eval("document.getElementById('height').value = 'high'; document.getElementById('quick').click()")
	require.Equal(t, "The height is a number, in ft or m", b.text("kept"))
	b.eval("document.getElementById('height').value = '6'; document.getElementById('quick').click()")
	select {
	case m := <-marks:
		require.Equal(t, 6., *m.HeightM)
		require.Empty(t, m.Units)
		require.True(t, m.Quick)
	case <-time.After(5 * time.Second):
		t.Fatal("no quick mark came")
	}
	b.until("it is acknowledged", 5*time.Second, func() bool { return b.text("kept") == "kept: chimney, east" })
	b.eval("scrollTo(0, 0)")

	// A screen reader hears it in words.
	b.until("words", 10*time.Second, func() bool { return b.text("spoken") == "Channel 22, North Hill: 8 dB to spare, at the best" })

	stopped := func() bool { return b.text("number") == "–" && b.text("alarm") != "" }
	// A meter that says nothing is stale within 2 s.
	f.hush(true)
	took := b.until("silence shows", 2*time.Second, stopped)
	t.Logf("silence shows after %v", took)
	require.Equal(t, 1, count(b.scheduled(), "lost"))
	f.hush(false)
	b.until("it goes on", 3*time.Second, func() bool { return b.text("number") == "+8.3" || b.text("number") == "+8.2" })

	// So is a server that is gone; and the page comes back by itself.
	stop()
	took = b.until("the loss shows", 2*time.Second, stopped)
	t.Logf("a dropped server shows after %v", took)
	b.shot("stopped")
	sounds := len(b.scheduled())
	time.Sleep(600 * time.Millisecond)
	require.Len(t, b.scheduled(), sounds, "no notes from a stopped meter")
	serve(t, p, l.Addr().String())
	took = b.until("it is back", 5*time.Second, func() bool { return b.text("number") != "–" && b.text("alarm") == "" })
	t.Logf("a server that is back shows after %v", took)
}
