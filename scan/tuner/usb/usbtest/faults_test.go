package usbtest_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/problemtest"
	"rooftone/scan/tuner/internal/standin"
	"rooftone/scan/tuner/usb"
	"rooftone/scan/tuner/usb/usbtest"
)

// most is how long anything may take that a dongle's end brings about. A busy computer
// is given as much again.
const most = 10 * time.Second

func pattern() usbtest.Dongle { return usbtest.Dongle{Air: &usbtest.Pattern{}} }

// Truth: libusb's codes, and what the real library makes of them.
func TestDonglesThatCannotBeOpened(t *testing.T) {
	for _, c := range []struct {
		name   string
		faults usbtest.Faults
		want   error
	}{
		{"permission", usbtest.Faults{OpenCode: -3}, usb.ErrNoPermission},
		{"another program", usbtest.Faults{ClaimCode: -6}, usb.ErrBusy},
		{"kernel driver that stays", usbtest.Faults{KernelDriver: true, KernelStays: true}, usb.ErrKernelDriver},
		{"no tuner", usbtest.Faults{NoTuner: true}, usb.ErrRefused},
		{"gone while it is opened", usbtest.Faults{UnplugAfterControls: 60}, usb.ErrUnplugged},
		{"gone while it is set up", usbtest.Faults{UnplugAfterControls: 190}, usb.ErrUnplugged},
		{"broken pipe", usbtest.Faults{ControlCode: -9}, usb.ErrRefused},
	} {
		t.Run(c.name, func(t *testing.T) {
			bus := usbtest.Start(t)
			d := pattern()
			d.Faults = c.faults
			bus.Plug(t, d)
			bus.Load(t)
			r, err := usb.Open(bg, "", usb.Options{Backoff: []time.Duration{}})
			if err == nil {
				err = r.Tune(bg, at(500e6))
				r.Close()
			}
			problemtest.Require(t, err, c.want)
		})
	}
}

// Truth: the real library detaches a kernel driver that lets go.
func TestKernelDriverThatLetsGo(t *testing.T) {
	d := pattern()
	d.Faults.KernelDriver = true
	r, device := open(t, d, usb.Options{})
	require.NoError(t, r.Tune(bg, at(500e6)))
	require.NoError(t, r.Close())
	require.True(t, device.Setting().CenterHz > 0)
}

// A dongle that answers no commands though it goes on sending is an error soon, and one
// that answers again goes on.
func TestDongleThatDoesNotAnswer(t *testing.T) {
	r, d := open(t, pattern(), usb.Options{})
	require.NoError(t, r.Tune(bg, at(500e6)))
	d.Fault(usbtest.Faults{Mute: true})
	start := time.Now()
	problemtest.Require(t, r.Tune(bg, at(502e6)), usb.ErrRefused)
	require.Less(t, time.Since(start), most)
	d.Fault(usbtest.Faults{})
	require.NoError(t, r.Tune(bg, at(504e6)))
	b, err := r.Read(bg, make([]complex64, 10_000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 504e6))
}

// Truth: samples that carry their frequency and number. What the bus does to them is
// either mended or said.
func TestTransfersThatGoWrong(t *testing.T) {
	bus := usbtest.Start(t)
	bus.Load(t)
	for i, c := range []struct {
		name  string
		spoil func(*usbtest.Device)
		lost  bool // something must be said to be lost
	}{
		{"short", func(d *usbtest.Device) { d.Short(); d.Short() }, false},
		{"a few errors", func(d *usbtest.Device) { d.Break(3) }, false},
		{"more data than asked for", func(d *usbtest.Device) { d.Overflow(2) }, false},
		{"more errors than there are buffers", func(d *usbtest.Device) { d.Break(40) }, true},
		{"a halted endpoint", func(d *usbtest.Device) { d.Stall(32) }, true},
		{"late by a second, which is lost", func(d *usbtest.Device) { d.Late(time.Second) }, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel() // on one bus
			serial := fmt.Sprintf("SIM%d", i)
			d := bus.Plug(t, usbtest.Dongle{Serial: serial, Air: &usbtest.Pattern{}})
			r, err := usb.Open(bg, serial, usb.Options{Timeout: 2 * time.Second})
			require.NoError(t, err)
			defer r.Close()
			require.NoError(t, r.Tune(bg, at(500e6)))
			dst := make([]complex64, 24_000)
			c.spoil(d)
			lost := false
			for n, start := 0, time.Now(); n < 30 || c.lost && !lost; n++ {
				b, err := r.Read(bg, dst)
				require.NoError(t, err)
				require.True(t, allFrom(b.Samples, 500e6))
				lost = lost || b.Lost
				require.Less(t, time.Since(start), 3*most)
			}
		})
	}
}

// Truth: the lock bit that the real library reads, and its habit of reporting success
// where that is not set. A frequency at which the tuner does not lock is an error of its
// own, and others are well.
func TestTunerThatDoesNotLock(t *testing.T) {
	d := pattern()
	d.Faults.NoLock = func(loHz float64) bool { return loHz > 540e6 && loHz < 550e6 }
	r, device := open(t, d, usb.Options{})
	require.NoError(t, r.Tune(bg, at(530e6)))
	problemtest.Require(t, r.Tune(bg, at(543e6)), tuner.ErrNoLock)
	require.False(t, device.Setting().Locked)
	_, err := r.Read(bg, make([]complex64, 10))
	require.Error(t, err, "what is heard there is from somewhere else")
	require.NoError(t, r.Tune(bg, at(560e6)))
	b, err := r.Read(bg, make([]complex64, 10_000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 560e6))
}

// allFrom says whether all of a Pattern's samples were made at a frequency.
func allFrom(x []complex64, hz float64) bool {
	return !slices.ContainsFunc(x, func(z complex64) bool { return tuner.ToByte(real(z)) != standin.Sample(hz) })
}

// A dongle that goes for good is an error, soon; and so is whatever is asked of it
// then.
func TestUnpluggedForGood(t *testing.T) {
	r, d := open(t, pattern(), usb.Options{Backoff: []time.Duration{10 * time.Millisecond, 100 * time.Millisecond}})
	require.NoError(t, r.Tune(bg, at(500e6)))
	d.Fault(usbtest.Faults{UnplugAfterBytes: d.Streamed() + 500_000})
	start := time.Now()
	var err error
	for err == nil {
		_, err = r.Read(bg, make([]complex64, 24_000))
	}
	<-d.Gone()
	require.Less(t, time.Since(start), most)
	problemtest.Require(t, err, usb.ErrUnplugged)
	problemtest.Require(t, r.Tune(bg, at(502e6)), usb.ErrUnplugged)
	require.NoError(t, r.Close())
}

// Truth: the second dongle's registers. One that comes back at another address, and
// not as the first in the list, is found by its serial number and set as the first was.
func TestPluggedInAgain(t *testing.T) {
	bus := usbtest.Start(t)
	d := bus.Plug(t, usbtest.Dongle{Serial: "OURS", Air: &usbtest.Pattern{}})
	bus.Load(t)
	s, err := usb.Open(bg, "", usb.Options{BiasTee: true})
	require.NoError(t, err)
	defer s.Close()
	require.NoError(t, s.Tune(bg, at(500e6)))
	bus.Plug(t, usbtest.Dongle{Serial: "OTHER", Air: &usbtest.Pattern{}})
	for range 2 {
		d = bus.Replug(t, d)
		dst := make([]complex64, 48_000)
		lost := false
		for start := time.Now(); !lost; {
			b, err := s.Read(bg, dst)
			require.NoError(t, err)
			lost = b.Lost
			require.Empty(t, standin.Check(b.Samples, 500e6))
			require.Less(t, time.Since(start), most)
		}
		set := d.Setting()
		require.InDelta(t, 500e6, set.CenterHz, 600)
		require.Equal(t, 29.7, set.GainDB)
		require.True(t, set.BiasTee)
	}
	require.NoError(t, s.Tune(bg, at(600e6)))
	require.InDelta(t, 600e6, d.Setting().CenterHz, 600)
	require.NoError(t, s.Close())
	require.False(t, d.Setting().BiasTee)
}

var unplugs = flag.Int("unplugs", 6, "how often a dongle is unplugged at a random moment")

// Whenever a dongle is pulled, nothing crashes or hangs, what is read is of one tuning
// and without an unsaid gap, and a dongle that comes back goes on.
func TestUnplugsAtRandomMoments(t *testing.T) {
	bus := usbtest.Start(t)
	bus.Load(t)
	const together = 3
	if testing.Short() {
		*unplugs = min(*unplugs, together)
	}
	for lane := range together {
		t.Run(fmt.Sprint(lane), func(t *testing.T) {
			t.Parallel()
			for n := lane; n < *unplugs; n += together {
				unplugAtRandom(t, bus, n)
			}
		})
	}
}

func unplugAtRandom(t *testing.T, bus *usbtest.Bus, n int) {
	rng := rand.New(rand.NewPCG(uint64(n), 11))
	dongle := usbtest.Dongle{Serial: fmt.Sprintf("OURS%d", n), Air: &usbtest.Pattern{}}
	if rng.IntN(2) == 0 {
		dongle.Faults.UnplugAfterControls = 1 + rng.IntN(700)
	} else {
		dongle.Faults.UnplugAfterBytes = 1 + rng.Int64N(2_000_000)
	}
	d := bus.Plug(t, dongle)
	comesBack := rng.IntN(2) == 0
	away := time.Duration(rng.IntN(600)) * time.Millisecond
	back := make(chan *usbtest.Device, 1)
	go func() {
		defer close(back)
		<-d.Gone()
		if comesBack {
			time.Sleep(away)
			dongle.Faults = usbtest.Faults{}
			back <- bus.Plug(t, dongle)
		}
	}()
	slowest := visit(t, dongle.Serial, comesBack)
	t.Logf("the slowest call took %v", slowest)
	require.Less(t, slowest, most)
	bus.Unplug(d) // if it never came to that
	if again := <-back; again != nil {
		bus.Unplug(again)
	}
}

// visit hops and reads until the dongle has gone, or for a while where it comes back.
// It returns how long the slowest call took.
func visit(t *testing.T, serial string, comesBack bool) (slowest time.Duration) {
	t.Helper()
	timed := func(f func() error) error {
		start := time.Now()
		err := f()
		slowest = max(slowest, time.Since(start))
		return err
	}
	var r tuner.Tuner
	err := timed(func() (err error) { r, err = usb.Open(bg, serial, usb.Options{}); return err })
	if err != nil {
		problemtest.Require(t, err, usb.ErrUnplugged)
		return slowest
	}
	dst := make([]complex64, 48_000)
	for hop := 0; hop < 10 && err == nil; hop++ {
		hz := 500e6 + 2e6*float64(hop)
		if err = timed(func() error { return r.Tune(bg, at(hz)) }); err != nil {
			break
		}
		var b tuner.Block
		if err = timed(func() (err error) { b, err = r.Read(bg, dst); return err }); err == nil {
			require.Empty(t, standin.Check(b.Samples, hz))
		}
	}
	require.NoError(t, timed(r.Close))
	if err != nil {
		require.False(t, comesBack, "it was back: %v", err)
		problemtest.Require(t, err, usb.ErrUnplugged)
	}
	return slowest
}
