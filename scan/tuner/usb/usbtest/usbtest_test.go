package usbtest_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/standin"
	"rooftone/scan/tuner/usb"
	"rooftone/scan/tuner/usb/usbtest"
)

var bg = context.Background()

func at(hz float64) tuner.Tuning {
	return tuner.Tuning{CenterHz: hz, RateHz: 2.4e6, GainDB: 30}
}

// open plugs a dongle in and opens it through the real librtlsdr.
func open(t *testing.T, dongle usbtest.Dongle, o usb.Options) (tuner.Tuner, *usbtest.Device) {
	t.Helper()
	bus := usbtest.Start(t)
	device := bus.Plug(t, dongle)
	bus.Load(t)
	r, err := usb.Open(bg, "", o)
	require.NoError(t, err)
	t.Cleanup(func() { r.Close() })
	return r, device
}

// Truth: the registers' meaning as published, read back by code that shares nothing
// with the program, and samples that carry the frequency they were made at. Where the
// library really sends the tuner the program works out for itself.
func TestRegistersAreWhatIsBelieved(t *testing.T) {
	r, d := open(t, usbtest.Dongle{Serial: "SIM7", Air: &usbtest.Pattern{}}, usb.Options{})
	require.Equal(t, "usb:SIM7", r.Info().Name)
	gains := r.Info().GainsDB
	rates := []float64{2.4e6, 2.4e6, 2.048e6, 1.8e6, 1.0e6, 2.1e6, 3.2e6}
	for i, hz := range []float64{57e6, 177e6, 213.123456e6, 473e6, 605e6, 701.5e6, 68.1e6, 251e6, 539e6, 695.4321e6, 1090e6, 527e6, 587e6, 599e6} {
		to := tuner.Tuning{CenterHz: hz, RateHz: rates[i%len(rates)], GainDB: gains[(7*i+3)%len(gains)]}
		require.NoError(t, r.Tune(bg, to))
		b, err := r.Read(bg, make([]complex64, 10_000))
		require.NoError(t, err)
		s := d.Setting()
		t.Logf("wanted %.0f, really %.1f at %.1f/s, filter %.0f to %.0f kHz", hz, s.CenterHz, s.RateHz, s.FilterLowHz/1e3, s.FilterHighHz/1e3)
		require.True(t, s.Locked && s.Inverted && s.On)
		require.False(t, s.AutoGain || s.DigitalAGC || s.Counter || s.BiasTee)
		require.Zero(t, s.CorrectionPPM)
		require.InDelta(t, to.GainDB, s.GainDB, 0.01)
		require.Equal(t, s.GainDB, b.GainDB)
		require.Equal(t, s.RateHz, b.RateHz)
		require.InDelta(t, s.CenterHz, b.CenterHz, 0.01)
		require.InDelta(t, hz, b.CenterHz, 600)
		// The filter is as wide as the samples and around them.
		require.InDelta(t, 0, s.FilterLowHz+s.FilterHighHz, 10e3)
		require.GreaterOrEqual(t, s.FilterHighHz-s.FilterLowHz, to.RateHz*0.999)
		require.Empty(t, standin.Check(b.Samples, s.CenterHz))
	}
}

// How many samples a second the bus brings through the real library when they may come
// as fast as they can.
func BenchmarkBus(b *testing.B) {
	bus := usbtest.Start(b)
	d := bus.Plug(b, usbtest.Dongle{Air: &usbtest.Pattern{}, Pace: 1000})
	bus.Load(b)
	r, err := usb.Open(bg, "", usb.Options{})
	require.NoError(b, err)
	defer r.Close()
	require.NoError(b, r.Tune(bg, at(500e6)))
	dst := make([]complex64, 24_000)
	from, start := d.Streamed(), time.Now()
	for b.Loop() {
		if _, err := r.Read(bg, dst); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(d.Streamed()-from)/2e6/time.Since(start).Seconds(), "MS/s")
}
