package expect_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/expect"
	"rooftone/scan/measure"
)

// Truth: arithmetic: what lies outside of an interval by more than the measurement's own
// is weaker or stronger; what is vacant is absent only where it had to show itself; what
// a radio cannot show is no fault.
func TestBeside(t *testing.T) {
	e := &expect.Expectation{}
	add := func(channel int, cn expect.Interval) {
		x := expect.Expected{CN: cn, Field: cn}
		x.RFChannel, x.Label = channel, "N"
		e.Stations = append(e.Stations, x)
	}
	reading := func(channel int, presence measure.Presence, cn float64) *measure.Reading {
		c, ok := band.Plans()[0].Channel(channel)
		require.True(t, ok)
		r := &measure.Reading{Channel: c, Presence: presence, Seen: []band.Span{c.Span()}}
		if presence == measure.Present {
			r.CN = &measure.Estimate{Value: cn, Sigma: 0.5}
		}
		return r
	}
	for channel := 20; channel <= 30; channel++ {
		add(channel, expect.Interval{Value: 20, Low: 5, High: 35})
	}
	add(20, expect.Interval{Value: 10, Low: -5, High: 25}) // a weaker one on the same channel
	add(31, expect.Interval{Value: 10, Low: -5, High: 25})
	add(32, expect.Interval{Value: 60, Low: 45, High: 75})
	unheard := reading(30, measure.Vacant, 0)
	unheard.Seen = nil
	got := e.Beside([]*measure.Reading{
		reading(20, measure.Present, 22), reading(21, measure.Present, 4), reading(22, measure.Present, 37),
		reading(23, measure.Present, 4.98), reading(24, measure.Vacant, 0), reading(25, measure.Unsure, 0),
		reading(31, measure.Vacant, 0), reading(32, measure.Present, 31), unheard, reading(33, measure.Present, 9),
	})
	var findings []expect.Finding
	for _, d := range got {
		findings = append(findings, d.Finding)
	}
	require.Equal(t, []expect.Finding{
		expect.AsExpected, expect.Weaker, expect.Stronger,
		expect.AsExpected, // outside by less than its own uncertainty
		expect.Absent, expect.Unsaid, expect.AsExpected, expect.AsExpected,
	}, findings)
	require.Equal(t, 20.0, got[0].Expected.Value)
	require.InDelta(t, 2, got[0].Off.Value, 1e-12)
	require.InDelta(t, 2-15.03, got[0].Off.Low, 0.01)
	require.True(t, got[7].Ceiling)
	require.Nil(t, got[7].Off)
	middle, of := expect.Middle(got)
	require.Equal(t, 4, of)
	require.InDelta(t, (2-15.02)/2, *middle, 1e-9)
	middle, _ = expect.Middle(nil)
	require.Nil(t, middle)
}
