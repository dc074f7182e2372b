package page

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/meter"
)

// Truth: A/321: a station of ATSC 3.0 has no margin above the threshold of 8-VSB,
// so the page promises none; it leads by the C/N, in a real browser.
func TestATSC3InABrowser(t *testing.T) {
	b := startChromium(t)
	p := New(Options{Source: "sim:nowhere", Channels: some(t, 27, 24), Labels: map[int]string{27: "Ostrel 3"}})
	l, stop := serve(t, p, "loopback")
	defer stop()
	best := 22.0
	u := meter.Update{
		Channel: p.Channels[0], Count: 1, Time: time.Now(), State: meter.Measuring, Gauge: meter.ByCN, Standard: measure.ATSC3,
		CN: &measure.Estimate{Value: 21.4, Sigma: 0.1}, BestDB: &best, BestTime: time.Now(), BelowBestDB: 0.6, Trend: meter.Rising,
	}
	p.Publish(u)
	p.Publish(reading(p.Channels[1], 1, time.Now(), 4.2, 4.2))
	b.open(p.URLs(l)[0])
	b.until("the figure", 10*time.Second, func() bool { return b.text("number") == "21.4" })
	require.Equal(t, "dB C/N", b.text("unit"))
	require.Equal(t, "Channel 27, Ostrel 3", b.text("name"))
	require.Equal(t, "ATSC 3.0, by its C/N, rising ↗", b.text("where"))
	require.Equal(t, "0.6 below the best, 22.0", b.text("best"))
	require.Equal(t, "Channel 27, Ostrel 3: ATSC 3.0, 21 dB C/N, rising, 1 below the best", b.text("spoken"))
	require.NotContains(t, b.text("reading"), "margin")
	require.Contains(t, strings.ReplaceAll(b.text("channels"), "\n", " "), "Ostrel 3")
	b.shot("atsc3")

	// What nobody could tell the standard of is promised nothing either.
	u.Count, u.Time, u.Standard = 2, u.Time.Add(5*time.Second), measure.OtherStandard
	p.Publish(u)
	b.until("another standard", 10*time.Second, func() bool { return b.text("where") == "a signal, but no 8-VSB in it, rising ↗" })
}

// Truth: the sizes of phones on their sides. All that the meter says is on the
// screen without scrolling, and nothing stands outside it.
func TestPhoneOnItsSide(t *testing.T) {
	b := startChromium(t)
	for _, x := range []struct {
		name          string
		width, height int
		channels      []int
	}{
		{"landscape-several", 740, 360, []int{22, 24, 31, 33}},
		{"landscape-small", 568, 320, []int{22, 24}},
		{"landscape-large", 932, 430, []int{22, 24, 27, 28, 31, 33, 34, 35}},
	} {
		p := New(Options{Source: "sim:nowhere", Channels: some(t, x.channels...), Labels: map[int]string{22: "North Hill", 24: "Saltmarrow Breakwater West"}})
		l, stop := serve(t, p, "loopback")
		for i, c := range p.Channels {
			u := reading(c, 1, time.Now(), -12.3+float64(i), 10.1)
			u.Trend = meter.Falling
			p.Publish(u)
		}
		b.Attach(x.width, x.height, true)
		b.ask("Page.navigate", map[string]any{"url": p.URLs(l)[0]})
		b.until("the figure", 10*time.Second, func() bool { return b.text("number") == "−12.3" })
		for _, id := range []string{"name", "unit", "number", "where", "best", "foot", "trace"} {
			seen := b.eval(`(() => { const r = document.getElementById("` + id + `").getBoundingClientRect();
				return r.top >= 0 && r.left >= 0 && r.bottom <= innerHeight && r.right <= innerWidth && r.width > 0 })()`)
			require.True(t, seen.(bool), "%s: %s", x.name, id)
		}
		require.True(t, b.eval("document.documentElement.scrollWidth <= innerWidth").(bool), x.name)
		// What is said stands beside the number and not on it.
		require.True(t, b.eval(`document.getElementById("number").getBoundingClientRect().right <= document.getElementById("where").getBoundingClientRect().left`).(bool), x.name)
		b.shot(x.name)
		stop()
	}
}
