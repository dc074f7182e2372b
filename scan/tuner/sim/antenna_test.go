package sim

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

const pointed = `
[town]
name = "pointed"
[radio]
model = "bench"
[antenna]
beamwidth_deg = 60
front_to_back_db = 20
bearing_deg = 90
[[station]]
rf_channel = 14
level_dbm = -62
bearing_deg = 90
`

// Truth: the definition of a beam's width and of front to back.
func TestAntennaPattern(t *testing.T) {
	for _, width := range []float64{20, 48, 60, 100, 160} {
		a := &Antenna{BeamwidthDeg: width, FrontToBackDB: 60}
		require.InDelta(t, 0, a.GainDB(10, 10), 1e-9)
		require.InDelta(t, -3.01, a.GainDB(10+width/2, 10), 0.01, "%v", width)
		require.InDelta(t, -3.01, a.GainDB(370-width/2, 10), 0.01, "%v", width)
		require.InDelta(t, -60, a.GainDB(190, 10), 1e-6)
	}
	a := &Antenna{BeamwidthDeg: 60, FrontToBackDB: 20, BearingDeg: 350, RateDegPerS: 6}
	require.InDelta(t, 350, a.Pointing(0), 1e-9)
	require.InDelta(t, 50, a.Pointing(10), 1e-9)
	a.RateDegPerS = -6
	require.InDelta(t, 290, a.Pointing(10), 1e-9)
	require.InDelta(t, 230, a.Pointing(80), 1e-9)
}

// power listens to the middle of RF 14 and returns its power in dBFS.
func power(t *testing.T, radio *Tuner, samples int) float64 {
	t.Helper()
	b, err := radio.Read(context.Background(), make([]complex64, samples))
	require.NoError(t, err)
	var sum float64
	for _, z := range b.Samples {
		sum += real(complex128(z) * complex(float64(real(z)), -float64(imag(z))))
	}
	return 10 * math.Log10(sum/float64(len(b.Samples)))
}

// Truth: the pattern's own decibels, in samples and in Truth alike; a path from
// elsewhere has a gain of its own; a town without an antenna hears everything.
func TestAntennaIsHeard(t *testing.T) {
	town, err := Parse([]byte(pointed))
	require.NoError(t, err)
	level := func(town Town, bearing float64) (heard, said float64) {
		radio, err := New(town, Options{BearingDeg: &bearing})
		require.NoError(t, err)
		require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: 473e6, RateHz: 2.4e6, GainDB: 40}))
		truth, err := radio.Truth(14)
		require.NoError(t, err)
		return power(t, radio, 120_000), truth.SignalDBm
	}
	onAxis, said := level(town, 90)
	require.InDelta(t, -62, said, 0.01)
	for _, off := range []float64{15, 30, 45, 100} {
		want := town.Antenna.GainDB(90, 90+off)
		heard, said := level(town, 90+off)
		require.InDelta(t, want, heard-onAxis, 0.25, "%v degrees off", off)
		require.InDelta(t, -62+want, said, 0.01, "%v degrees off", off)
	}

	// An echo as strong as the station, from behind: with the antenna turned
	// around, it is what is left.
	behind := 270.0
	town.Stations[0].Echoes = []Echo{{DelayUS: 1, LevelDB: 0, BearingDeg: &behind}}
	_, front := level(town, 90)
	_, back := level(town, 270)
	require.InDelta(t, front, back, 0.5)
	require.InDelta(t, -62, front, 1)

	town.Antenna, town.Stations[0].Echoes = nil, nil
	heard, said := level(town, 270)
	require.InDelta(t, onAxis, heard, 0.2)
	require.InDelta(t, -62, said, 0.01)
}

// Truth: the radio's own time: a turning antenna is where its rate has brought
// it, also in the middle of a stay, and after a new start.
func TestAntennaTurns(t *testing.T) {
	town, err := Parse([]byte(pointed))
	require.NoError(t, err)
	radio, err := New(town, Options{})
	require.NoError(t, err)
	require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: 473e6, RateHz: 2.4e6, GainDB: 40}))
	still := power(t, radio, 120_000)
	require.NoError(t, radio.Rotate(90, 100))
	// Twelve parts of 50 ms, 5 degrees each.
	for part := range 12 {
		off := 5*float64(part) + 2.5
		require.InDelta(t, town.Antenna.GainDB(90, 90+off), power(t, radio, 120_000)-still, 0.25, "%v degrees off", off)
	}
	require.Equal(t, 90.0, town.Antenna.BearingDeg, "the town that was given does not change")

	town.Antenna = nil
	radio, err = New(town, Options{})
	require.NoError(t, err)
	require.Error(t, radio.Rotate(0, 1))
}

// Truth: our own promise: what makes no sense is refused.
func TestAntennaIsChecked(t *testing.T) {
	for _, bad := range []string{
		"[antenna]\nbeamwidth_deg = 5",
		"[antenna]\nbeamwidth_deg = 60\nfront_to_back_db = -1",
		"[antenna]\nbeamwidth_deg = 60\nbearing_deg = 400",
		"[antenna]\nbeamwidth_deg = 60\nrate_deg_per_s = 1000",
		"[antenna]\nbeamwidth_deg = 60\ngain = 3",
		"[[station]]\nrf_channel = 14\nechoes = [{ bearing_deg = -1 }]",
	} {
		_, err := Parse([]byte("[town]\nname = \"x\"\n" + bad))
		require.Error(t, err, bad)
	}
}

// Truth: two waves that meet head on stand, and their nulls lie half a
// wavelength apart: 1.0 ft at 473 MHz, 2.6 ft at 189 MHz.
func TestStandingWaves(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for _, c := range []struct {
		channel int
		hz      float64
	}{{14, 473e6}, {9, 189e6}} {
		west := 270.0
		town := Town{
			Name: "waves", Radio: BenchRadio(),
			Antenna: &Antenna{BeamwidthDeg: 170},
			Stations: []Station{{
				RFChannel: c.channel, Call: "QSTW", LevelDBm: -75, BearingDeg: 90,
				Echoes: []Echo{{LevelDB: -1, PhaseDeg: 30, BearingDeg: &west}},
			}},
		}
		radio, err := New(town, Options{})
		require.NoError(t, err)
		half := lightSpeed / c.hz / 2
		const steps = 24 // to each half wavelength
		var levels []float64
		for i := range 4 * steps {
			require.NoError(t, radio.Move(float64(i)*half/steps, 0))
			require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: c.hz, RateHz: 2.4e6, GainDB: 49.6}))
			levels = append(levels, power(t, radio, 24000))
		}
		var nulls []int
		for i := 2; i < len(levels)-2; i++ {
			if levels[i] < levels[i-1] && levels[i] <= levels[i+1] && levels[i] < levels[i-2]-1 && levels[i] < levels[i+2]-1 {
				nulls = append(nulls, i)
			}
		}
		require.GreaterOrEqual(t, len(nulls), 3, "channel %d", c.channel)
		for i := 1; i < len(nulls); i++ {
			require.InDelta(t, steps, nulls[i]-nulls[i-1], 1, "channel %d", c.channel)
		}
		// Square to the waves nothing changes.
		require.NoError(t, radio.Move(0, half/2))
		require.NoError(t, radio.Tune(context.Background(), tuner.Tuning{CenterHz: c.hz, RateHz: 2.4e6, GainDB: 49.6}))
		require.InDelta(t, levels[0], power(t, radio, 24000), 0.2)
	}
}
