package hunt

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// stayOf is a stay whose density is even.
func stayOf(centerHz, gainDB, density float64) *stay {
	x := &stay{centerHz: centerHz, rateHz: 2.4e6, gainDB: gainDB, knownGain: true, stepHz: 2343.75, averages: 500, density: make([]float64, 1024)}
	for i := range x.density {
		x.density[i] = density
	}
	return x
}

// Truth: made-up stays. Where every slice is full, the floor is what the survey
// read the noise to be, at each gain; where it read none there is no floor, and
// nothing stands out of it.
func TestFullSlicesAreNoFloor(t *testing.T) {
	plan := band.Plans()[0]
	c, ok := plan.Channel(22)
	require.True(t, ok)
	const noise, full = 1e-12, 1e-9
	gain := 40.0
	for _, known := range []bool{true, false} {
		s := &scene{clock: 1, topDB: 49, survey: &scan.Survey{}}
		r := measure.Reading{Channel: c, Seen: []band.Span{{LowHz: c.LowerHz, HighHz: c.UpperHz()}}, GainDB: &gain, Presence: measure.Unsure}
		if known {
			r.NoiseDBFS = &measure.Estimate{Value: decibel(noise * band.WidthHz), Sigma: 0.2}
		}
		s.survey.Channels = []scan.Channel{{Reading: r}}
		for k := range 12 {
			s.stays = append(s.stays, stayOf(100e6+2e6*float64(k), gain, full), stayOf(100e6+2e6*float64(k), gain-10, full/10))
		}
		s.findFloors()
		s.regions(band.Service{Name: "elsewhere", LowHz: 99e6, HighHz: 123e6})
		if !known {
			require.True(t, math.IsNaN(s.floors[gain]))
			require.Empty(t, s.emitter)
			continue
		}
		require.InDelta(t, noise, s.floors[gain], noise/1e3)
		require.InDelta(t, noise/10, s.floors[gain-10], noise/1e4)
		require.NotEmpty(t, s.emitter)
	}
}

// Truth: made-up ladders. Full channels are no floor of the receiver's, be they
// alone or all alike; a vacant one is.
func TestFullChannelsAreNoFloor(t *testing.T) {
	plan := band.Plans()[0]
	list, err := plan.Select("20-24")
	require.NoError(t, err)
	ladder := func() (out []channelRungs) {
		for _, c := range list {
			out = append(out, channelRungs{channel: c, alpha: 1e-9, rungs: []rung{{1, 1e-9, 1e-12}, {0.5, 1e-9, 1e-12}}})
		}
		return out
	}
	f := &frontEnd{}
	f.findFloors(ladder(), func(band.Channel) bool { return false })
	require.Empty(t, f.floors)
	f.findFloors(ladder(), func(c band.Channel) bool { return c.Number == 22 })
	require.Len(t, f.floors, 1)
}
