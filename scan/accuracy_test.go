package scan

import (
	"context"
	"flag"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/verdict"
)

// The truth in these tests is the simulated town's own arithmetic (levels in
// dBm, kTB and noise figure, uniform-quantiser theory), which shares no code
// with the estimators, and 8-VSB that dsp/vsb checks against GNU Radio's
// encoder.

// draws multiplies how much the ensembles below try: -draws 20 for the figures
// in the README.
var draws = flag.Int("draws", 1, "how many times the usual number of random draws the ensembles make")

// ensemble is how many draws an ensemble makes that usually makes n. With -short
// it makes one.
func ensemble(n int) int {
	if testing.Short() {
		return 1
	}
	return n * *draws
}

func usChannels(t *testing.T, list string) []band.Channel {
	c, err := band.Plans()[0].Select(list)
	require.NoError(t, err)
	return c
}

// look sweeps a town with a common dongle and returns the survey and the tuner.
func look(t *testing.T, town sim.Town, o Options) (*Survey, *sim.Tuner) {
	t.Helper()
	tn, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	if o.Plan == nil {
		o.Plan = band.Plans()[0].Channels
	}
	if o.Channels == nil {
		o.Channels = o.Plan
	}
	s, err := SweepTuner(context.Background(), tn, o)
	require.NoError(t, err)
	return s, tn
}

func channelOf(t *testing.T, s *Survey, number int) *Channel {
	t.Helper()
	for i := range s.Channels {
		if s.Channels[i].Channel.Number == number {
			return &s.Channels[i]
		}
	}
	t.Fatalf("no channel %d in the survey", number)
	return nil
}

// tune puts the tuner where it was when a channel was measured: its Truth holds
// for the gain in use.
func tune(t *testing.T, tn *sim.Tuner, c *Channel) {
	t.Helper()
	require.NotNil(t, c.GainDB)
	require.NoError(t, tn.Tune(context.Background(), tuner.Tuning{CenterHz: c.Channel.CenterHz(), RateHz: 2.4e6, GainDB: *c.GainDB}))
}

// dongleTown is a town around a common dongle with all its faults.
func dongleTown(seed uint64, ppm float64) sim.Town {
	r := sim.DefaultRadio()
	r.Seed, r.PPM = seed, ppm
	return sim.Town{Name: "bench", Radio: r}
}

// noiseDBm is the default radio's noise in 6 MHz at its highest gain.
const noiseDBm = -100.2

func station(channel int, cnDB, pilotErrorHz float64) sim.Station {
	return sim.Station{RFChannel: channel, Call: "QTST", LevelDBm: noiseDBm + cnDB, PilotErrorHz: pilotErrorHz}
}

func TestCarrierToNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	var errors []float64
	var inside, all float64
	for draw := range ensemble(3) {
		town := dongleTown(uint64(draw+1), []float64{-60, 21, 0, 60, -33}[draw%5])
		for i := range 12 {
			cn := 3 + 24*float64((i*7+draw*5)%12)/11
			town.Stations = append(town.Stations, station(14+2*i, cn, float64(i%5)*4-8))
		}
		s, tn := look(t, town, Options{Channels: usChannels(t, "14-36"), Plan: usChannels(t, "14-36")})
		for i := range 12 {
			c := channelOf(t, s, 14+2*i)
			tune(t, tn, c)
			truth, err := tn.Truth(14 + 2*i)
			require.NoError(t, err)
			require.Equal(t, measure.Present, c.Presence, "channel %d", 14+2*i)
			require.NotNil(t, c.CN)
			e := c.CN.Value - truth.CNDB
			errors = append(errors, e)
			all++
			if math.Abs(e) <= 1.96*c.CN.Sigma {
				inside++
			}
		}
	}
	var bias float64
	within := 0
	for _, e := range errors {
		bias += e / float64(len(errors))
		if math.Abs(e) <= 0.5 {
			within++
		}
	}
	share := float64(within) / float64(len(errors))
	t.Logf("%d channels: bias %+.3f dB, within 0.5 dB %.1f %%, worst %.2f dB, inside the stated 95 %% %.0f %%",
		len(errors), bias, 100*share, worst(errors), 100*inside/all)
	require.Less(t, math.Abs(bias), 0.3)
	require.GreaterOrEqual(t, share, 0.95)
	require.GreaterOrEqual(t, inside/all, 0.9)
}

func worst(x []float64) float64 {
	var w float64
	for _, v := range x {
		w = math.Max(w, math.Abs(v))
	}
	return w
}

// weakBand sweeps UHF with two sound stations and weak ones of one C/N, 100 ms
// a channel, and counts what is found and what is not there.
func weakBand(t *testing.T, seed uint64, cnDB float64) (found, stations, alarms, vacant int) {
	town := dongleTown(seed, float64(seed%13)*9-54)
	town.Stations = append(town.Stations, station(14, 20, 3), station(36, 18, -4))
	weak := map[int]bool{}
	for n := 16; n <= 34; n += 3 {
		town.Stations = append(town.Stations, station(n, cnDB, float64(seed%7)*5-15))
		weak[n] = true
	}
	uhf := usChannels(t, "14-36")
	s, _ := look(t, town, Options{Channels: uhf, Plan: uhf, Dwell: 100 * time.Millisecond / 3})
	for _, c := range s.Channels {
		switch n := c.Channel.Number; {
		case n == 14 || n == 36:
		case weak[n]:
			stations++
			if c.Presence == measure.Present {
				found++
			}
		default:
			vacant++
			if c.Presence != measure.Vacant {
				alarms++
			}
		}
	}
	return found, stations, alarms, vacant
}

func TestWeakPresence(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	for _, c := range []struct {
		about string
		cnDB  float64
		least float64
	}{
		{"IEEE 802.22: −116 dBm in 6 MHz at 11 dB noise figure", -20.8, 0.99},
		{"beyond it", -26, 0.90},
	} {
		var found, stations, alarms, vacant int
		for seed := range ensemble(3) {
			f, s, a, v := weakBand(t, uint64(100*seed)+uint64(-c.cnDB), c.cnDB)
			found, stations, alarms, vacant = found+f, stations+s, alarms+a, vacant+v
		}
		t.Logf("%s (C/N %.1f dB): found %d of %d, false alarms %d of %d", c.about, c.cnDB, found, stations, alarms, vacant)
		// Three standard deviations below what is asked for, so that the small
		// default ensemble does not fail by chance; the large one is for the
		// figures.
		miss := 1 - c.least
		allowed := miss*float64(stations) + 3*math.Sqrt(miss*float64(stations))
		require.LessOrEqual(t, float64(stations-found), allowed)
		require.LessOrEqual(t, float64(alarms), 1e-3*float64(vacant)+3*math.Sqrt(1e-3*float64(vacant)))
	}
}

func TestStrongNeighbour(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	for draw := range ensemble(1) {
		town := dongleTown(uint64(draw+40), 33)
		weak := 6 + float64(draw%3)*4
		town.Stations = []sim.Station{
			station(17, 24, 2), station(21, 12, 0),
			// 26 and 28 lie beside a station 40 dB above 26's.
			station(26, weak, -3), station(27, weak+40, 5),
			station(31, 15+40, 1), // 30 and 32 stay vacant
		}
		s, _ := look(t, town, Options{Channels: usChannels(t, "14-36")})
		for _, n := range []int{28, 30, 32} {
			require.Equal(t, measure.Vacant, channelOf(t, s, n).Presence, "channel %d beside a strong one", n)
		}
		c := channelOf(t, s, 26)
		require.Equal(t, measure.Present, c.Presence)
		// Without the neighbour the truth is free of its guess of what little
		// the rails cut off.
		alone := town
		alone.Stations = town.Stations[:3]
		quiet, err := sim.New(alone, sim.Options{})
		require.NoError(t, err)
		tune(t, quiet, c)
		truth, err := quiet.Truth(26)
		require.NoError(t, err)
		e := c.CN.Value - truth.CNDB
		t.Logf("C/N %.2f dB beside %.0f dB, gain %.1f dB: %.2f ± %.2f dB", truth.CNDB, weak+40, *c.GainDB, c.CN.Value, c.CN.Sigma)
		require.True(t, math.Abs(e) < 1 || math.Abs(e) < 2*c.CN.Sigma, "error %.2f dB, stated %.2f dB", e, c.CN.Sigma)
	}
}

func TestToneIsNoStation(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	for draw := range ensemble(1) {
		town := dongleTown(uint64(draw+70), -41)
		town.Stations = []sim.Station{station(15, 22, 2), station(25, 14, 0), station(35, 17, -6)}
		// A tone's level, as the C/N of the station that it could be the pilot
		// of: pilot power is 11.6 dB below the station's.
		tone := func(channel int, offsetHz, cnDB float64) {
			c, _ := band.Plans()[0].Channel(channel)
			town.Tones = append(town.Tones, sim.Tone{FrequencyHz: c.PilotHz() + offsetHz, LevelDBm: noiseDBm + cnDB - 11.6})
		}
		// Strong ones at and near a pilot's place.
		for i, n := range []int{17, 19, 21, 23} {
			tone(n, []float64{0, 300, -900, 4000}[i], []float64{-4, 5, 15, 30}[(i+draw)%4])
		}
		// Weak ones more than 2 kHz away.
		for i, n := range []int{27, 29, 31, 33} {
			tone(n, []float64{2100, -2500, 6000, -12000}[i], []float64{-24, -20, -17, -14}[(i+draw)%4])
		}
		s, _ := look(t, town, Options{Channels: usChannels(t, "14-36")})
		for _, n := range []int{17, 19, 21, 23, 27, 29, 31, 33} {
			c := channelOf(t, s, n)
			require.NotEqual(t, measure.Present, c.Presence, "the tone in channel %d", n)
			require.Empty(t, c.Grade)
		}
	}
}

// A clock harmonic of the radio's lies where no pilot of the plan does, so this
// radio's crystal is moved until one falls on a pilot exactly, strong enough
// that a station's data would show.
func TestClockHarmonicIsNoStation(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	town := dongleTown(5, 0)
	town.Stations = []sim.Station{station(15, 22, 2), station(25, 14, 0)}
	c, _ := band.Plans()[0].Channel(30)
	town.Tones = []sim.Tone{{FrequencyHz: c.PilotHz(), LevelDBm: noiseDBm - 11.6 - 4}}
	s, _ := look(t, town, Options{Channels: usChannels(t, "14-36")})
	require.Equal(t, measure.Vacant, channelOf(t, s, 30).Presence)
	// And the real harmonics, wherever they are, make no station of a vacant
	// channel: 489.6 MHz in 17, 518.4 in 22, 547.2 in 26, 576 in 31 and 604.8
	// in 36.
	for _, n := range []int{17, 22, 26, 31, 36} {
		require.Equal(t, measure.Vacant, channelOf(t, s, n).Presence, "channel %d", n)
	}
}

func TestClock(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	type conclusion struct {
		presence measure.Presence
		grade    verdict.Grade
	}
	var first []conclusion
	for _, ppm := range []float64{0, -60, -21, 13, 60} {
		town := dongleTown(9, ppm)
		// Two stations that fix the clock, one that only its place gives away.
		town.Stations = []sim.Station{station(16, 17, 4), station(30, 21, -5), station(22, -18, 0)}
		s, _ := look(t, town, Options{Channels: usChannels(t, "14-36")})
		require.NotNil(t, s.Clock)
		t.Logf("clock %+.0f ppm: found %+.3f ± %.3f ppm by %d stations", ppm, s.Clock.PPM.Value, s.Clock.PPM.Sigma, s.Clock.Stations)
		require.InDelta(t, ppm, s.Clock.PPM.Value, 0.3)
		var got []conclusion
		for _, c := range s.Channels {
			got = append(got, conclusion{c.Presence, c.Grade})
		}
		if first == nil {
			first = got
		}
		require.Equal(t, first, got, "the verdicts at %g ppm", ppm)
		require.Equal(t, measure.Present, channelOf(t, s, 22).Presence)
		require.Equal(t, verdict.Trace, channelOf(t, s, 22).Grade)
	}
}

func TestSweepTime(t *testing.T) {
	if testing.Short() {
		t.Skip("it sweeps whole towns at several dwells")
	}
	t.Parallel()
	for _, name := range sim.Names() {
		town, err := sim.Load(name)
		require.NoError(t, err)
		_, tn := look(t, town, Options{})
		const stays = 35 * 3
		least := stays * (DefaultDwell.Seconds() + town.Radio.SettleMS/1e3)
		ratio := tn.Elapsed().Seconds() / least
		t.Logf("%s: %.2f s of the radio's time, %.2f times settling and dwell", name, tn.Elapsed().Seconds(), ratio)
		require.Less(t, ratio, 1.3)
	}
}

// Between what the pilot alone tells and what the data shows, a station must
// not fall through: it is never called vacant, and seldom unsure.
func TestPilotAndDataMeet(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	var present, unsure int
	for draw := range ensemble(2) {
		town := dongleTown(uint64(draw+900), float64(draw%9)*12-48)
		town.Stations = append(town.Stations, station(14, 20, 3), station(36, 18, -4))
		for i := range 10 {
			town.Stations = append(town.Stations, station(16+2*i, -13.5+float64(i)+float64(draw%2)/2, float64(draw%5)*6-12))
		}
		s, _ := look(t, town, Options{Channels: usChannels(t, "14-36"), Plan: usChannels(t, "14-36")})
		for i := range 10 {
			c := channelOf(t, s, 16+2*i)
			require.NotEqual(t, measure.Vacant, c.Presence, "channel %d, %v", 16+2*i, c.Suspicion)
			if c.Presence == measure.Present {
				present++
			} else {
				unsure++
			}
		}
	}
	t.Logf("%d present, %d unsure", present, unsure)
	require.GreaterOrEqual(t, float64(present), 0.9*float64(present+unsure))
}
