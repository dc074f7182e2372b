package scan

import (
	"context"
	"flag"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/soapy"
	"rooftone/scan/tuner/soapy/soapytest"
	"rooftone/scan/verdict"
)

// soapyTown serves a town to SoapySDR as a wide radio hears it, as fast as real time
// at the most.
func soapyTown(t *testing.T, town sim.Town, f soapytest.Facts) *soapytest.Server {
	t.Helper()
	soapytest.Load(t)
	hears, err := sim.New(town, sim.Options{Unsettled: true})
	require.NoError(t, err)
	f.Pace = 1
	s, err := soapytest.Serve(soapytest.Town(hears), f)
	require.NoError(t, err)
	t.Cleanup(s.Close)
	return s
}

func openSoapy(t *testing.T, device string) tuner.Tuner {
	t.Helper()
	a, err := soapy.ParseAddress(device)
	require.NoError(t, err)
	r, err := soapy.Open(context.Background(), a, soapy.Options{Timeout: 20 * time.Second, CommandTimeout: time.Minute})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.Close()) })
	return r
}

// wideTown is a town for wide radios: strong and weak stations, an echo, neighbours.
func wideTown() sim.Town {
	town := dongleTown(41, 12)
	town.Radio = sim.WideRadio()
	town.Radio.Seed, town.Radio.PPM = 41, 12
	echo := station(16, 24, -3)
	echo.Echoes = []sim.Echo{{DelayUS: 2.5, LevelDB: -8, PhaseDeg: 100}}
	town.Stations = []sim.Station{station(14, 30, 4), echo, station(17, 12, 2), station(19, 3, 0)}
	return town
}

// requireSameVerdicts asks of two visits to one town that a person would conclude the
// same from both.
func requireSameVerdicts(t *testing.T, want, got *Survey) {
	t.Helper()
	require.Len(t, got.Channels, len(want.Channels))
	for i := range want.Channels {
		a, b := &want.Channels[i], &got.Channels[i]
		n := a.Channel.Number
		t.Logf("channel %d: %v %v %v, %v %v %v", n, a.Presence, a.Grade, a.Margin, b.Presence, b.Grade, b.Margin)
		require.Equal(t, a.Presence, b.Presence, "channel %d", n)
		require.Equal(t, a.Standard, b.Standard, "channel %d", n)
		require.Equal(t, a.Grade, b.Grade, "channel %d", n)
		require.Equal(t, limitsOf(a), limitsOf(b), "channel %d", n)
		require.Equal(t, a.Margin == nil, b.Margin == nil, "channel %d", n)
		if a.Margin != nil {
			require.InDelta(t, a.Margin.Value, b.Margin.Value, 3*math.Hypot(a.Margin.Sigma, b.Margin.Sigma), "channel %d", n)
		}
	}
}

func limitsOf(c *Channel) (out []verdict.Limit) {
	for _, r := range c.Reasons {
		out = append(out, r.Limit)
	}
	return out
}

// Truth: the town itself, visited without a driver between.
func TestSoapySweep(t *testing.T) {
	town := wideTown()
	list := "14-19"
	if testing.Short() {
		list = "15-17"
	}
	o := Options{Channels: usChannels(t, list), Plan: usChannels(t, list), RateHz: 10e6}
	direct, _ := look(t, town, o)
	for _, f := range []soapytest.Facts{soapytest.Wide(), {
		Hardware: "Town 10", Format: "CF32", FullScale: 1, MTU: 4000, Rates: "2.5e6:2.5e6:0,10e6:10e6:0",
		Reach: "24e6:1766e6:0", NoTime: true,
	}} {
		s := soapyTown(t, town, f)
		o.RateHz = 0
		survey, err := SweepTuner(context.Background(), openSoapy(t, s.Address()), o)
		require.NoError(t, err)
		require.Len(t, o.Channels, survey.Stays)
		requireSameVerdicts(t, direct, survey)
		if *draws == 1 {
			break // one will do, of a format; the other is for who has the time
		}
	}
}

// Truth: what is promised of a wide radio, in its own time: little more than settling
// and dwell at one tuning a channel, which is a third of a dongle's three.
func TestWideSweepTime(t *testing.T) {
	if testing.Short() {
		t.Skip("it sweeps whole towns")
	}
	t.Parallel()
	names := []string{"harbour"}
	if *draws > 1 {
		names = sim.Names()
	}
	for _, name := range names {
		town, err := sim.Load(name)
		require.NoError(t, err)
		seed := town.Radio.Seed
		town.Radio = sim.WideRadio()
		town.Radio.Seed = seed
		_, wide := look(t, town, Options{RateHz: 10e6})
		least := 35 * (DefaultDwell.Seconds() + town.Radio.SettleMS/1e3)
		ratio := wide.Elapsed().Seconds() / least
		t.Logf("%s: %.2f s, %.2f times settling and dwell", name, wide.Elapsed().Seconds(), ratio)
		if *draws > 1 {
			town.Radio = sim.DefaultRadio()
			town.Radio.Seed = seed
			_, dongle := look(t, town, Options{})
			t.Logf("%s: a dongle takes %.2f s, %.2f times as long", name, dongle.Elapsed().Seconds(), dongle.Elapsed().Seconds()/wide.Elapsed().Seconds())
		}
		require.Less(t, ratio, 1.3)
	}
}

var wallTime = flag.Bool("wall", false, "measure a sweep through SoapySDR by the wall's clock, on a computer that does nothing else")

// loops is a Source that makes each tuning's samples once, and again and again: what a
// simulated town is too slow for.
type loops struct {
	town soapytest.Source
	made map[tuner.Tuning][]complex64
	now  []complex64
	at   int
}

func (l *loops) Tune(to tuner.Tuning) float64 {
	gain := l.town.Tune(to)
	l.at = 0
	if l.now = l.made[to]; l.now == nil {
		l.now = make([]complex64, int(0.1*to.RateHz))
		l.town.Fill(l.now)
		l.made[to] = l.now
	}
	return gain
}

func (l *loops) Fill(dst []complex64) {
	for n := 0; n < len(dst); {
		k := copy(dst[n:], l.now[l.at:])
		n += k
		if l.at += k; l.at == len(l.now) {
			l.at = 0
		}
	}
}

// Truth: the clock on the wall. The first visit makes the samples, the second is
// timed: a radio's real time, and whatever the program adds to it.
func TestSoapySweepTime(t *testing.T) {
	if !*wallTime {
		t.Skip("it wants a computer of its own: -wall")
	}
	soapytest.Load(t)
	town, err := sim.Load("harbour")
	require.NoError(t, err)
	town.Radio.Wide, town.Radio.Bits = true, 12
	for _, o := range []Options{{}, {RateHz: 2.4e6}, {RateHz: 20e6}} {
		hears, err := sim.New(town, sim.Options{Unsettled: true})
		require.NoError(t, err)
		f := soapytest.Wide()
		f.Pace = 1
		s, err := soapytest.Serve(&loops{town: soapytest.Town(hears), made: map[tuner.Tuning][]complex64{}}, f)
		require.NoError(t, err)
		o.Plan = band.Plans()[0].Channels
		o.Channels = o.Plan
		a, err := soapy.ParseAddress(s.Address())
		require.NoError(t, err)
		settle := time.Duration(town.Radio.SettleMS * float64(time.Millisecond))
		r, err := soapy.Open(context.Background(), a, soapy.Options{Timeout: time.Minute, CommandTimeout: time.Minute, Settle: settle})
		require.NoError(t, err)
		for visit := range 2 {
			began := time.Now()
			survey, err := SweepTuner(context.Background(), r, o)
			require.NoError(t, err)
			took := time.Since(began)
			least := time.Duration(survey.Stays) * (settle + DefaultDwell)
			t.Logf("visit %d at %g MS/s: %v for %d stays, %.2f times settling and dwell", visit+1, o.RateHz/1e6, took, survey.Stays, took.Seconds()/least.Seconds())
		}
		require.NoError(t, r.Close())
		s.Close()
	}
}
