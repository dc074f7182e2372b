package page

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
)

// Truth: the reading: how much of the channel it rests on stands beside its
// uncertainty, in a real browser, and only where that is not all of it.
func TestAPartInABrowser(t *testing.T) {
	b := startChromium(t)
	p := New(Options{Source: "roof.sigmf-meta", Channels: some(t, 22)})
	l, stop := serve(t, p, "loopback")
	defer stop()
	u := reading(p.Channels[0], 1, time.Now(), 4.2, 4.2)
	p.Publish(u)
	b.open(p.URLs(l)[0])
	b.until("the figures", 10*time.Second, func() bool { return strings.Contains(b.text("foot"), "± 0.2") })
	require.NotContains(t, b.text("foot"), "heard")

	u.Count, u.Time, u.Trained, u.Unsought = 2, u.Time.Add(time.Second), false, true
	u.Margin.Sigma, u.Seen = 1.3, []band.Span{{LowHz: 518.1e6, HighHz: 518.7e6}}
	p.Publish(u)
	b.until("the part", 10*time.Second, func() bool { return strings.HasSuffix(b.text("foot"), "0.60\u00a0of\u00a06\u00a0MHz\u00a0heard") })
	require.Equal(t, "decodes, if it is a station", b.text("where"))
	require.True(t, b.eval("document.documentElement.scrollWidth <= innerWidth").(bool))
	b.shot("part")

	u.Count, u.Time, u.Unsought = 3, u.Time.Add(time.Second), false
	u.Seen[0].HighHz = 520.2e6
	p.Publish(u)
	b.until("more of it", 10*time.Second, func() bool { return strings.HasSuffix(b.text("foot"), "2.1\u00a0of\u00a06\u00a0MHz\u00a0heard") })
	require.Equal(t, "a signal, but no 8-VSB in it", b.text("where"))
}
