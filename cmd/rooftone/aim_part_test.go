package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/verdict"
)

// Truth: the reading. A quick mark keeps of it how much of the channel it rests on,
// and grants no grade to what is not known to be a station.
func TestQuickMarks(t *testing.T) {
	c, ok := band.Plans()[0].Channel(22)
	require.True(t, ok)
	u := meter.Update{
		Channel: c, State: meter.Measuring, Margin: &measure.Estimate{Value: 11, Sigma: 1.3}, Method: measure.MarginEqualised,
		Trained: true, Seen: []band.Span{{LowHz: 519e6, HighHz: 521.1e6}},
	}
	h := heardNow(u)
	require.Equal(t, verdict.Firm, h.Grade)
	require.Equal(t, measure.ATSC1, h.Standard)
	require.InDelta(t, 0.35, h.Share(), 1e-9)
	require.Equal(t, u.Seen, h.Seen)
	require.Equal(t, 1.3, h.Margin.Sigma)

	u.Trained = false
	h = heardNow(u)
	require.Empty(t, h.Grade)
	require.Equal(t, measure.Unsure, h.Presence)
	require.NotNil(t, h.Margin)

	u.Occupied = true
	h = heardNow(u)
	require.True(t, h.Occupied)
	require.Equal(t, measure.OtherStandard, h.Standard)
	require.Nil(t, h.Margin, "it is the margin of no station")

	u = meter.Update{Channel: c, State: meter.Nothing}
	require.Equal(t, measure.Vacant, heardNow(u).Presence)
	require.Equal(t, 1.0, func() float64 { h := heardNow(u); return h.Share() }())
}

// Truth: the readings that were counted.
func TestSummaryOfAPart(t *testing.T) {
	c, _ := band.Plans()[0].Channel(22)
	p := &playback{}
	at := time.Unix(0, 0)
	for i := range 4 {
		best := 4.0
		p.count(meter.Update{
			Channel: c, Time: at.Add(time.Duration(i) * 100 * time.Millisecond), State: meter.Measuring, BestDB: &best, BestTime: at,
			Margin: &measure.Estimate{Value: 4, Sigma: 1}, Seen: []band.Span{{LowHz: 519e6, HighHz: 521.1e6}},
		})
	}
	require.Equal(t, "channel 22: margin +4.0 dB from 2.1 of its 6 MHz, give or take 2.0 dB, 4 readings in 0.3 s, best +4.0 dB after 0.0 s", p.channels[0].summary(p.start))
	p.count(meter.Update{Channel: c, Time: at, State: meter.Nothing, Occupied: true})
	require.Equal(t, "channel 22: no television station is on it, in 5 readings", p.channels[0].summary(p.start))
	p = &playback{}
	p.count(meter.Update{Channel: c, Time: at, State: meter.Uncovered})
	require.Equal(t, "channel 22: the recording holds nothing usable of it", p.channels[0].summary(p.start))
}
