package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/meter"
	"rooftone/scan/tuner/sim"
)

// Truth: the town's own bearings. Turned by hand, told the bearing every 60
// degrees to the nearest 5, within 3 degrees on a clean channel and 6 with
// echoes; the interval that is said holds the truth.
func TestTurnByHand(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for _, x := range []struct {
		channel     int
		truth, most float64
	}{{21, 131, 3}, {17, 268, 6}, {33, 268, 6}} {
		t.Run(fmt.Sprint(x.channel), func(t *testing.T) {
			if x.channel == 33 && testing.Short() {
				t.Skip("one with an echo will do")
			}
			town, err := sim.Load("orchard")
			require.NoError(t, err)
			radio, err := sim.New(town, sim.Options{})
			require.NoError(t, err)
			var said bytes.Buffer
			typed := make(chan typedLine, 16)
			c := &console{stderr: &said, env: func(string) string { return "" }}
			r, err := newRotation(&turner{way: "clockwise"}, &console{stdin: &bytes.Buffer{}, stderr: &said, env: c.env}, source{tuner: radio})
			require.NoError(t, err)
			r.typed = typed

			const start, rate = 37.0, 45.0
			var began time.Time
			next := 0.0
			ch, ok := band.Plans()[0].Channel(x.channel)
			require.True(t, ok)
			m, err := meter.New(radio, meter.Options{Channels: []band.Channel{ch}, Plan: band.Plans()[0].Channels})
			require.NoError(t, err)
			err = m.Run(context.Background(), func(u meter.Update) error {
				if u.State != meter.Learning && began.IsZero() {
					began = u.Time
					require.NoError(t, radio.Rotate(start, rate))
				}
				if gone := u.Time.Sub(began).Seconds() * rate; !began.IsZero() && gone >= next {
					typed <- typedLine{text: fmt.Sprint(5 * math.Round(math.Mod(start+gone, 360)/5)), at: u.Time}
					if next += 60; gone > 380 {
						typed <- typedLine{at: u.Time}
					}
				}
				return r.take(u)
			})
			require.ErrorIs(t, err, errDone)
			h := r.fit([]band.Channel{ch})[0]
			require.NoError(t, h.err)
			off := math.Remainder(h.peak.Heading.Value-x.truth, 360)
			t.Logf("heading %.1f ± %.1f, true %.0f, from %d readings", h.peak.Heading.Value, h.peak.Heading.Sigma, x.truth, h.samples)
			require.Less(t, math.Abs(off), x.most)
			require.Less(t, math.Abs(off), 2.5*h.peak.Heading.Sigma)
			require.Contains(t, said.String(), "noted")
		})
	}
}
