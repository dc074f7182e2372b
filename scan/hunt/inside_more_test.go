package hunt_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// Truth: what was put into the simulated town. Clean channels, with echoes and
// at any C/N, have no suspects.
func TestCleanChannels(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds of simulated samples")
	}
	n, last := 6, 23
	if *draws > 0 {
		n, last = *draws, 36
	}
	r := rand.New(rand.NewPCG(21, 22))
	present, vacant := 0, 0
	for present < n {
		town := crowd(r, 12, -5, 30, 3)
		var some []sim.Station
		for number := 14; number <= last; number++ {
			s := town.Stations[r.IntN(len(town.Stations))]
			s.RFChannel = number
			s.LevelDBm = floorDBm - 5 + 35*r.Float64()
			if present < n && r.Float64() < 0.7 {
				some = append(some, s)
				present++
			} else {
				vacant++
			}
		}
		town.Stations = some
		_, suspects := lookInside(t, town, fmt.Sprintf("14-%d", last), *cleanDwell, false)
		for _, s := range suspects {
			t.Errorf("%d: %s %s %+v %v", present, s.Kind, s.Name, s.FrequencyHz, s.Evidence)
			for _, x := range some {
				if r := channelOf(s); r != nil && *r == x.RFChannel {
					t.Logf("%+v", x)
				}
			}
		}
	}
	t.Logf("%d occupied and %d vacant channels", present, vacant)
}

// Truth: what was put into the simulated town, by arithmetic: pulses at 120 a
// second that raise the mean noise by 3 dB.
func TestImpulsesInATown(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds of simulated samples")
	}
	stations := 3
	if *draws > 0 {
		stations = 12
	}
	for _, row := range []struct {
		name         string
		costDB, rate float64
		pulses       int
	}{
		{"one a burst", 3, 120, 1}, {"100 Hz", 3, 100, 4}, {"ten a burst", 3, 120, 10}, {"little", 1, 120, 3},
	} {
		if *draws == 0 && row.costDB == 3 && row.pulses > 5 {
			continue
		}
		t.Run(row.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(31, 32))
			town := crowd(r, stations, 12, 30, 1)
			const decay = 40e-6
			mean := math.Pow(10, (floorDBm+0.2)/10) * (math.Pow(10, row.costDB/10) - 1)
			town.Impulses = []sim.Impulses{{
				LevelDBm: 10 * math.Log10(mean/(decay*row.rate*float64(row.pulses))),
				DecayUS:  decay * 1e6, BurstsPerSecond: row.rate, PulsesPerBurst: row.pulses, Spread: 0.15,
			}}
			survey, suspects := lookInside(t, town, fmt.Sprintf("14-%d", 13+2*stations), 300*time.Millisecond, false)
			hits := 0
			for _, s := range suspects {
				if s.Kind != hunt.Impulses {
					t.Errorf("not there: %+v", s)
					continue
				}
				hits++
				t.Logf("%s rate %+v mains %g duty %+v level %+v %v", s.Name, s.RateHz, s.MainsHz, s.Duty, s.LevelDBFS, s.Evidence)
				for _, h := range s.Harms {
					truth := 10 * math.Log10(1+mean/math.Pow(10, noiseOf(t, town, survey, h.Channel)/10))
					t.Logf("channel %d: %.2f ± %.2f, truth %.2f", h.Channel.Number, h.CostDB.Value, h.CostDB.Sigma, truth)
					require.InDelta(t, truth, h.CostDB.Value, 1)
				}
				require.Len(t, s.Harms, stations)
				require.InDelta(t, row.rate, s.RateHz.Value, 0.3)
			}
			require.Equal(t, 1, hits)
		})
	}
}

// noiseOf is the true noise in dBm of a channel, at the gain that it was
// measured with and without impulses.
func noiseOf(t *testing.T, town sim.Town, s *scan.Survey, c band.Channel) float64 {
	t.Helper()
	town.Impulses = nil
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	defer radio.Close()
	for i := range s.Channels {
		if r := &s.Channels[i]; r.Channel == c {
			require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: c.CenterHz(), RateHz: 2.4e6, GainDB: *r.GainDB}))
			truth, err := radio.Truth(c.Number)
			require.NoError(t, err)
			return truth.NoiseDBm
		}
	}
	t.Fatalf("channel %d was not measured", c.Number)
	return 0
}

// channelOf is the number of a channel that a suspect harms.
func channelOf(s hunt.Suspect) *int {
	if len(s.Harms) == 0 {
		return nil
	}
	return &s.Harms[0].Channel.Number
}
