//go:build !windows

package usbtest_test

import (
	"math"
	"testing"

	"github.com/ebitengine/purego"
	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/scan/tuner/internal/dongle"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/usb/usbtest"
)

// Truth: the real library, told what the program never tells it. Every gain step comes
// to what its name says, from three tables of the tuner's stages; automatic gain, the
// narrow filters, the bias tee and the clock's correction reach the registers.
func TestTheLibrarysOwnCommands(t *testing.T) {
	bus := usbtest.Start(t)
	d := bus.Plug(t, pattern())
	bus.Load(t)
	lib, err := purego.Dlopen("librtlsdr.so.0", purego.RTLD_NOW)
	if err != nil {
		t.Skip(err)
	}
	var dev uintptr
	var open func(*uintptr, uint32) int32
	purego.RegisterLibFunc(&open, lib, "rtlsdr_open")
	tell := func(name string, arg int32) {
		var f func(uintptr, int32) int32
		purego.RegisterLibFunc(&f, lib, "rtlsdr_"+name)
		require.Zero(t, f(dev, arg), name)
	}
	require.Zero(t, open(&dev, 0))
	tell("set_sample_rate", 2_400_000)
	tell("set_center_freq", 500_000_000)
	tell("set_tuner_gain_mode", 1)
	for _, tenths := range dongle.R820T.Gains() {
		tell("set_tuner_gain", int32(tenths))
		s := d.Setting()
		require.InDelta(t, float64(tenths)/10, s.GainDB, 1e-9)
		require.False(t, s.AutoGain)
	}
	for _, kHz := range []int32{400, 700, 1200, 2000, 2400} {
		tell("set_tuner_bandwidth", kHz*1000)
		s := d.Setting()
		require.InDelta(t, 0, s.FilterLowHz+s.FilterHighHz, 10e3)
		require.InEpsilon(t, float64(kHz)*1e3, s.FilterHighHz-s.FilterLowHz, 0.13)
		require.InDelta(t, 500e6, s.CenterHz, 1000)
	}
	tell("set_tuner_gain_mode", 0)
	require.True(t, d.Setting().AutoGain)
	tell("set_agc_mode", 1)
	require.True(t, d.Setting().DigitalAGC)
	tell("set_bias_tee", 1)
	require.True(t, d.Setting().BiasTee)
	tell("set_freq_correction", 50)
	require.InDelta(t, 50, d.Setting().CorrectionPPM, 0.1)
	require.InDelta(t, 500e6*(1-50e-6), d.Setting().CenterHz, 1000)
	var shut func(uintptr) int32
	purego.RegisterLibFunc(&shut, lib, "rtlsdr_close")
	require.Zero(t, shut(dev))
	require.False(t, d.Setting().On)
}

// Truth: a filter passes what lies between its edges. What is programmed narrower than
// goes with the rate is heard to be.
func TestTownThroughANarrowFilter(t *testing.T) {
	town := sim.Town{Name: "plain", Radio: sim.BenchRadio()}
	street := usbtest.Town(t, town)
	s := usbtest.Setting{CenterHz: 500e6, RateHz: 2.4e6, GainDB: 49.6, Locked: true, On: true,
		FIR:         [16]int{-54, -36, -41, -40, -32, -14, 14, 53, 101, 156, 215, 273, 327, 372, 404, 421},
		FilterLowHz: -1.215e6, FilterHighHz: 1.215e6}
	x := make([]complex64, 1<<15)
	level := func(hz float64) float64 { // around a frequency, from 64 pieces
		var sum float64
		for n := 4096; n+256 <= len(x); n += 256 {
			var re, im float64
			for k, z := range x[n : n+256] {
				sin, cos := math.Sincos(2 * math.Pi * hz / 2.4e6 * float64(k))
				a, b := float64(real(z)), float64(imag(z))
				re, im = re+a*cos+b*sin, im+b*cos-a*sin
			}
			sum += re*re + im*im
		}
		return air.DB(sum)
	}
	require.NoError(t, street.Hear(s, 0, x))
	require.InDelta(t, 0, level(900e3)-level(0.1e6), 2.5)
	s.FilterLowHz, s.FilterHighHz = -300e3, 300e3
	require.NoError(t, street.Hear(s, 0, x))
	require.InDelta(t, 0, level(150e3)-level(-150e3), 2.5)
	require.Less(t, level(900e3)-level(0.1e6), -25.0)
	require.Less(t, level(-900e3)-level(0.1e6), -25.0)
}
