package ofdm

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
)

var trials = flag.Int("trials", 4, "stays a case in the tests of detections and false alarms")

func TestFalseAlarmIsItsProbability(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: theory. In noise a FalseAlarm below p has a probability of p at
	// most, and not much less, since neighbours share little: 1−exp(−p) for
	// independent ones.
	for _, c := range []struct {
		rate, offset, within float64
		samples, stays       int
	}{{2.4e6, 3e6, 0, 3000, 1500}, {2.4e6, 1e6, 5e3, 12000, 500}, {1e6, 3e6, 200, 8000, 1500}, {20e6, 3e6, 0, 40000, 150}} {
		s := newTestSearcher(t, c.rate, c.offset, c.samples)
		noise := air.NewNoise(9)
		x := make([]complex64, c.samples)
		var alarms []float64
		for range c.stays {
			noise.Fill(x, 0.1)
			b, err := s.Search(x, 0, c.within)
			require.NoError(t, err)
			alarms = append(alarms, b.FalseAlarm)
		}
		slices.Sort(alarms)
		t.Logf("%v MS/s: %s", c.rate/1e6, summary(alarms))
		for _, p := range []float64{0.3, 0.1, 0.03, 0.01} {
			below, _ := slices.BinarySearch(alarms, p)
			mean := p * float64(c.stays)
			require.Less(t, float64(below), mean+3*math.Sqrt(mean)+1)
			require.Greater(t, float64(below), mean/2-3*math.Sqrt(mean))
		}
	}
}

func TestNothingElseIsFound(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: theory. Where there is no bootstrap a FalseAlarm below p has a
	// probability of about p, so of n stays none is below 0.01/n.
	noise := air.NewNoise(3)
	random := rand.New(rand.NewPCG(4, 4))
	long := newWaveform(t, 5, mostSymbols)
	for _, c := range []struct {
		name string
		make func(s stay) []complex64
	}{
		{"noise", func(s stay) []complex64 {
			return s.of(t, func([]complex64, float64, float64, complex128) error { return nil }, noise)
		}},
		{"8-VSB", func(s stay) []complex64 { return s.of(t, s.olderStation(t, random.Uint64()), noise) }},
		{"LTE", func(s stay) []complex64 { return s.from(t, newLTE(s.rate, random.Uint64()).fill, noise) }},
		{"DVB-T", func(s stay) []complex64 { return s.from(t, newDVB(s.rate, random.Uint64()).fill, noise) }},
		{"body alone", func(s stay) []complex64 {
			s.start = 0.01 + 4*random.Float64()
			return s.of(t, s.station(t, long), noise)
		}},
		{"impulses", func(s stay) []complex64 {
			source := air.Impulses{Seed: random.Uint64(), Power: 1000, Decay: 2e-6, BurstsPerSecond: 120, PulsesPerBurst: 3, Spread: 0.1}
			return s.from(t, func(x []complex64) { source.Add(x, 0, 1/s.rate) }, noise)
		}},
		{"tone", func(s stay) []complex64 {
			hz := s.rate * (0.8*random.Float64() - 0.4)
			return s.from(t, func(x []complex64) { air.Tone{Amplitude: 30, Hz: hz}.Add(x, 0, 1/s.rate) }, noise)
		}},
		{"FM", func(s stay) []complex64 {
			source := air.NewFM(random.Uint64(), 1000, 0.3*s.rate*(random.Float64()-0.5), 75e3, 15e3)
			return s.from(t, func(x []complex64) { source.Add(x, 0, 1/s.rate) }, noise)
		}},
		{"keyed carrier", func(s stay) []complex64 {
			hz := s.rate * (0.8*random.Float64() - 0.4)
			seed := random.Uint64()
			return s.from(t, func(x []complex64) {
				air.Tone{Amplitude: 30, Hz: hz}.Add(x, 0, 1/s.rate)
				for i := range x {
					if !air.Keyed(seed, 0.3, 1e-3, float64(i)/s.rate) {
						x[i] = 0
					}
				}
			}, noise)
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var alarms []float64
			for i := range *trials {
				s := stay{rate: 2.4e6, offset: offsets[i%3], seconds: 0.3, hz: 600e6, cn: []float64{0, 15, 30}[i/3%3], bits: 8}
				s.ppm, s.start = 120*random.Float64()-60, 100*random.Float64()
				x := c.make(s)
				off := []float64{200, 36.2e3}[min(i%10/9, 1)]
				b, err := newTestSearcher(t, s.rate, s.offset, len(x)).Search(x, 0, off)
				require.NoError(t, err)
				require.False(t, b.Found)
				alarms = append(alarms, b.FalseAlarm)
			}
			slices.Sort(alarms)
			t.Log(summary(alarms))
			require.Greater(t, alarms[0], 1e-2/float64(*trials))
		})
	}
}

// from is of for a signal at the slice's rate.
func (s stay) from(t testing.TB, fill func([]complex64), noise *air.Noise) []complex64 {
	x := make([]complex64, int(s.seconds*s.rate))
	fill(x)
	s.receive(t, x, noise)
	return x
}

// summary tells how often values lie below some probabilities.
func summary(sorted []float64) string {
	out := fmt.Sprintf("least of %d: %.2g;", len(sorted), sorted[0])
	for _, p := range []float64{0.3, 0.1, 0.03, 0.01} {
		k, _ := slices.BinarySearch(sorted, p)
		out += fmt.Sprintf(" %.3f below %g", float64(k)/float64(len(sorted)), p)
	}
	return out
}
