package examine

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// three is a town with three stations, one of them strong.
func three(change func(*sim.Town)) sim.Town {
	w := sim.Town{Name: "three", Radio: sim.DefaultRadio(), Stations: []sim.Station{
		{RFChannel: 14, Call: "QAAA", LevelDBm: -48, PilotErrorHz: 4},
		{RFChannel: 23, Call: "QBBB", LevelDBm: -66, PilotErrorHz: -7},
		{RFChannel: 33, Call: "QCCC", LevelDBm: -78, PilotErrorHz: 2},
	}}
	w.Radio.Seed = 77
	if change != nil {
		change(&w)
	}
	return w
}

// surveyOf is what a visit to the town comes to, by what the town is.
func surveyOf(t *testing.T, s *sim.Tuner) *scan.Survey {
	plan := band.Plans()[0].Channels
	out := &scan.Survey{Clock: &measure.Clock{PPM: measure.Estimate{Value: s.Town().Radio.PPM, Sigma: 0.05}}}
	for _, c := range plan {
		truth, err := s.Truth(c.Number)
		require.NoError(t, err)
		r := measure.Reading{Channel: c, Presence: measure.Vacant, Seen: []band.Span{c.Span()}}
		if truth.SignalDBm > -90 {
			// At the highest gain strong stations are beyond the rails.
			r.Presence, r.CN = measure.Present, &measure.Estimate{Value: min(35, truth.SignalDBm-truth.ThermalDBm)}
			r.Pilot = &measure.Pilot{}
			gain := math.Min(49.6, 49.6-(truth.SignalDBm+70)) // leaves room at the converter
			r.GainDB = &gain
		} else if truth.InterferenceDBm > truth.NoiseDBm-20 {
			continue
		}
		out.Channels = append(out.Channels, scan.Channel{Reading: r})
	}
	return out
}

func open(t *testing.T, w sim.Town) *sim.Tuner {
	t.Helper()
	s, err := sim.New(w, sim.Options{})
	require.NoError(t, err)
	return s
}

// realGains are what the town's gains are, the highest being what its name says: by
// a lone tone without noise and rounding.
func realGains(t *testing.T, w sim.Town) []float64 {
	w.Stations, w.Services = nil, nil
	w.Radio.Bits, w.Radio.IIP3DBm = 0, nil
	w.Tones = []sim.Tone{{FrequencyHz: 600.2e6, LevelDBm: -50}}
	s := open(t, w)
	var out []float64
	x := make([]complex64, 24000)
	for _, gain := range sim.Gains() {
		require.NoError(t, s.Tune(context.Background(), tuner.Tuning{CenterHz: 600e6, RateHz: 2.4e6, GainDB: gain}))
		b, err := s.Read(context.Background(), x)
		require.NoError(t, err)
		var best float64
		for hz := -30.; hz < 30; hz += 5 {
			var sum complex128
			for i, z := range b.Samples {
				sum += complex128(z) * cmplx.Rect(1, -2*math.Pi*math.Mod((200e3-600.2e6*w.Radio.PPM*1e-6+hz)/2.4e6*float64(i), 1))
			}
			best = math.Max(best, cmplx.Abs(sum))
		}
		out = append(out, 20*math.Log10(best))
	}
	for i := range out {
		out[i] += 49.6 - out[len(out)-1]
	}
	return out
}

// truthAt is what the radio's filters do at a share of half the rate, the mean over
// the stations' tunings and both sides, in dB from the middle.
func truthAt(w sim.Town, share float64) float64 {
	front := air.Dongle()
	front.StrayDB, front.FoldDB, front.Seed = w.Radio.StrayDB, w.Radio.FoldDB, air.Seed(w.Radio.Seed, 74)
	var sum, n float64
	for _, s := range w.Stations {
		c, _ := band.Plans()[0].Channel(s.RFChannel)
		for _, side := range []float64{-1, 1} {
			center := c.PilotHz() - side*share*1.2e6
			sum += air.DB(front.Band(center, 2.4e6, 40).Power(side * share * 1.2e6))
			n++
		}
	}
	return sum / n
}

// Truth: the filters of dsp/air, which were checked against SciPy; a lone tone's
// level at each gain; the clock that the town has. Folding is 10 dB stronger than
// was measured on dongles.
func TestCharacterOfHarshDongle(t *testing.T) {
	long(t)
	w := three(func(w *sim.Town) { w.Radio.FoldDB = 10 })
	s := open(t, w)
	c, err := Radio(context.Background(), s, Options{Plan: band.Plans()[0].Channels, Survey: surveyOf(t, s)})
	require.NoError(t, err)
	require.Less(t, c.AirSeconds, 45., "with some 8 s of looking for stations 60 at most")
	require.True(t, c.Antenna())
	require.NotNil(t, c.DroopDB)
	require.NotNil(t, c.FoldingDB)
	require.InDelta(t, -truthAt(w, character.EdgeShare), c.DroopDB.Value, 0.3)
	require.InDelta(t, truthAt(w, 2-character.EdgeShare), c.FoldingDB.Value, 0.7)
	for _, p := range c.NoiseResponse {
		byPilots, ok := c.At(p.Share)
		require.True(t, ok)
		require.InDelta(t, byPilots.Value, p.DB, 0.5, "noise and pilots at %g", p.Share)
	}
	for i, want := range realGains(t, w) {
		g := c.Gains[i]
		require.NotNil(t, g.RealDB, "%g dB", g.NameDB)
		require.InDelta(t, want, g.RealDB.Value, 0.3, "%g dB", g.NameDB)
		require.NotNil(t, g.FloorDBFSHz)
	}
	require.True(t, *c.GainsWork)
	// The crystal goes by −3 ppm with a time constant of 5 minutes.
	require.InDelta(t, -0.58, c.DriftPPMPerMinute.Value, 0.05)
	require.Zero(t, c.Settling.SameRateMS, "all of it is passed over")
	require.Greater(t, c.Settling.OtherRateMS, 10., "up to 100 ms after another rate")
	for _, i := range c.Images {
		require.InDelta(t, -50.6, i.DB, 2, "0.05 dB and 0.06° between I and Q")
	}
	require.InDelta(t, w.Radio.DCDBFS, c.Middle.Value, 4)
	for _, l := range c.Losses {
		require.Zero(t, l.Jumps, "one in ten minutes is lost")
	}
	var times []int
	for _, tone := range c.Tones {
		require.Equal(t, character.ToneHarmonic, tone.Kind)
		times = append(times, tone.Times)
	}
	require.Subset(t, []int{2, 3, 7, 17, 18, 19, 20, 21}, times)
	require.Contains(t, times, 19)
}

// long leaves a test of much arithmetic to the run without the race detector.
func long(t *testing.T) {
	if testing.Short() {
		t.Skip("it has its time in the long run")
	}
}

// of starts an examination of a town with what is known of it.
func of(t *testing.T, s *sim.Tuner, rateHz float64) *exam {
	e := newExam(s, Options{Plan: band.Plans()[0].Channels, Survey: surveyOf(t, s), RateHz: rateHz})
	e.choose()
	require.NoError(t, e.sight(context.Background()))
	return e
}

// Truth: definitions. A zero-IF radio's image is what its town says at each
// frequency, and its noise has a hump in the middle.
func TestZeroIFRadio(t *testing.T) {
	long(t)
	w := three(func(w *sim.Town) { w.Radio = sim.ZeroIFRadio(); w.Radio.Seed = 5 })
	s := open(t, w)
	e := of(t, s, 2.4e6)
	require.Len(t, e.pilots, 3)
	at := float64(air.Seed(5, 80)%1000) / 1000
	for i, p := range e.pilots {
		require.NoError(t, e.image(context.Background(), p))
		want := -34 + 6*math.Sin(2*math.Pi*(p.radioHz/170e6+at))
		require.False(t, e.out.Images[i].AtMost)
		require.InDelta(t, want, e.out.Images[i].DB, 1)
	}
	require.NoError(t, e.quiet(context.Background()))
	require.Greater(t, e.out.HumpDB.Value, 5.)
	require.Empty(t, e.out.NoiseResponse, "it tells nothing of the filters then")
}

// Truth: theory. A half-band filter that is flat to 0.8 of half the rate.
func TestWideRadio(t *testing.T) {
	long(t)
	w := three(func(w *sim.Town) { w.Radio = sim.WideRadio(); w.Stations = w.Stations[1:2] })
	e := of(t, open(t, w), 10e6)
	p := e.strongest()
	middle, _, ok, err := e.reference(context.Background(), p)
	require.NoError(t, err)
	require.True(t, ok)
	for share, want := range map[float64]float64{-0.875: -0.765, 0.875: -0.765, 1.125: -21.5} {
		line, _, ok, err := e.look(context.Background(), p, share, p.gainDB, lookSeconds, aliasReachHz)
		require.NoError(t, err)
		require.True(t, ok)
		require.InDelta(t, want, air.DB(line.Power)-middle, 0.5)
	}
}

// Truth: definitions. Samples that the radio loses without a word are heard of by
// the phase.
func TestLostSamples(t *testing.T) {
	long(t)
	w := three(func(w *sim.Town) { w.Radio.LoseEveryS = 0.25; w.Stations = w.Stations[1:2] })
	e := of(t, open(t, w), 2.4e6)
	require.NoError(t, e.loss(context.Background(), e.strongest(), 2.4e6))
	l := e.out.Losses[0]
	require.Zero(t, l.Told)
	// Some 8 in 2 s, of which a few leave the phase as it was.
	require.Greater(t, l.Jumps, 2)
	require.Less(t, l.Jumps, 20)
}

// Truth: the definition. With a gain control that was left on, signals do not
// follow the gain.
func TestAGCLeftOn(t *testing.T) {
	long(t)
	w := three(func(w *sim.Town) { w.Radio.AGC = true; w.Stations = w.Stations[1:2] })
	e := of(t, open(t, w), 2.4e6)
	require.NoError(t, e.gains(context.Background()))
	require.NotNil(t, e.out.GainsWork)
	require.False(t, *e.out.GainsWork)
}

// Truth: definitions. With nothing at the antenna's socket no station is told of,
// and the noise alone tells the pass band: its two sides' mean is the filter's.
func TestNothingAtTheAntenna(t *testing.T) {
	w := three(nil)
	s := open(t, w)
	survey := surveyOf(t, s)
	require.NoError(t, s.SetTerminated(true))
	for i := range survey.Channels {
		c := &survey.Channels[i]
		c.Presence, c.CN, c.Pilot = measure.Vacant, nil, nil
	}
	beat := -50.
	w.Radio.BeatDBFS = &beat
	s = open(t, w)
	require.NoError(t, s.SetTerminated(true))
	c, err := Radio(context.Background(), s, Options{Plan: band.Plans()[0].Channels, Survey: survey})
	require.NoError(t, err)
	require.False(t, c.Antenna())
	require.Nil(t, c.FoldingDB)
	require.Nil(t, c.Settling)
	require.Nil(t, c.GainsWork)
	require.InDelta(t, -truthAt(w, character.EdgeShare), c.DroopDB.Value, 0.4)
	require.Equal(t, character.ToneFollows, c.Tones[0].Kind)
	require.InDelta(t, 317e3, c.Tones[0].Hz, 300)
	require.InDelta(t, beat, c.Tones[0].DBFS, 1)
}

// Truth: arithmetic. Gains that no pilot links with the rest are left out.
func TestSolveGains(t *testing.T) {
	out := Steps([]Level{{0, 0, -50, 0.1}, {1, 0, -47, 0.1}, {1, 1, -67, 0.1}, {2, 1, -63, 0.1}, {4, 2, -10, 0.1}}, 5, 3)
	require.Nil(t, out[3])
	require.Nil(t, out[4])
	require.InDelta(t, 3, out[1].Value-out[0].Value, 1e-6)
	require.InDelta(t, 4, out[2].Value-out[1].Value, 1e-6)
	require.Empty(t, linked(nil, 2, 1))
}
