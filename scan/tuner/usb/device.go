package usb

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

// device is an open dongle. It is what dongle.Control wants; its errors are
// *refusedError.
type device struct {
	lib    *library
	handle uintptr
}

// openDevice opens a dongle. The library takes about a second for it, in
// which the context is not forgotten.
func (lib *library) openDevice(ctx context.Context, index uint32, what string, o Options) (device, error) {
	type opened struct {
		handle uintptr
		rc     int32
	}
	done := make(chan opened, 1)
	go func() {
		var h uintptr
		rc := lib.open(&h, index)
		done <- opened{h, rc}
	}()
	select {
	case got := <-done:
		if got.rc != 0 || got.handle == 0 {
			return device{}, openProblem(got.rc, what, o.sysfs)
		}
		return device{lib, got.handle}, nil
	case <-ctx.Done():
		go func() {
			if got := <-done; got.rc == 0 && got.handle != 0 {
				lib.close(got.handle)
			}
		}()
		return device{}, ctx.Err()
	}
}

// mostTries is how often a dongle is looked for that is not where it was listed.
const mostTries = 5

// openSerial opens the dongle with the serial number, or the first one when serial
// is empty. The library knows dongles by their place in a list, which changes when
// one comes or goes: that it is the right one is asked of it once it is open.
func (lib *library) openSerial(ctx context.Context, serial, what string, o Options) (device, error) {
	for try := 1; ; try++ {
		index, err := lib.find(serial, o)
		if err != nil && try > 1 { // it was there a moment ago
			return device{}, openProblem(usbNoDevice, what, o.sysfs)
		}
		if err != nil {
			return device{}, err
		}
		dev, err := lib.openDevice(ctx, index, what, o)
		if err != nil {
			return device{}, err
		}
		if got := dev.serial(); serial != "" && got != serial && try < mostTries {
			lib.close(dev.handle)
			continue
		}
		if dongle.Chip(lib.tunerType(dev.handle)) != dongle.ChipUnknown {
			return dev, nil
		}
		// The library opens a dongle without a tuner too, and one that goes while it
		// looks for the tuner.
		lib.close(dev.handle)
		return device{}, lib.orGone(&tuner.Problem{
			What: what + " has no tuner that librtlsdr finds",
			Hint: "plug the dongle in again and retry; if that does not help, it is another kind or broken",
			Err:  ErrRefused,
		}, what, serial, o)
	}
}

// orGone returns the error, or that the dongle is gone if it is.
func (lib *library) orGone(err error, what, serial string, o Options) error {
	if _, e := lib.find(serial, o); e != nil {
		return openProblem(usbNoDevice, what, o.sysfs)
	}
	return err
}

// serial returns the serial number of an open dongle; "" when it does not say.
func (d device) serial() string {
	var b [256]byte
	if d.lib.deviceStrings(d.handle, nil, nil, &b[0]) != 0 {
		return ""
	}
	return text(b[:])
}

// gains returns the gain steps in tenths of a dB, ascending; none when there
// is but one, which is how librtlsdr says that it does not set the gain.
func (d device) gains() []int {
	n := d.lib.tunerGains(d.handle, nil)
	if n <= 1 || n > 1024 {
		return nil
	}
	raw := make([]int32, n)
	if d.lib.tunerGains(d.handle, &raw[0]) != n {
		return dongle.Chip(d.lib.tunerType(d.handle)).Gains()
	}
	steps := make([]int, n)
	for i, g := range raw {
		steps[i] = int(g)
	}
	slices.Sort(steps)
	return slices.Compact(steps)
}

// Where a dongle stands before it is told.
const (
	firstCenterHz = 500e6
	firstRateHz   = 2.4e6
)

// prepare sets what does not change later: gain by hand, no automatic gain in
// the demodulator, no direct sampling, no offset tuning, the bias tee as
// asked, an empty FIFO. The clock is left uncorrected; the program measures
// it. It also gives it a frequency and a rate, in this order: with no rate the
// resampler may make no samples at all, and librtlsdr, told a rate, goes to the
// frequency that it was told last, which at first is 0.
func (d device) prepare(biasTee bool) error {
	l := d.lib
	if l.getDirectSampling(d.handle) > 0 {
		if err := refused("leave direct sampling", l.setDirectSampling(d.handle, 0)); err != nil {
			return err
		}
	}
	if l.getOffsetTuning(d.handle) > 0 {
		if err := refused("leave offset tuning", l.setOffsetTuning(d.handle, 0)); err != nil {
			return err
		}
	}
	if err := d.SetCenter(firstCenterHz); err != nil && !errors.As(err, new(*unlockedError)) {
		return err
	}
	if err := d.SetRate(firstRateHz); err != nil {
		return err
	}
	if err := refused("leave the automatic gain of its demodulator", l.setAGCMode(d.handle, 0)); err != nil {
		return err
	}
	if err := refused("have its gain set by hand", l.setTunerGainMode(d.handle, 1)); err != nil {
		return err
	}
	// A dongle without a bias tee may refuse to switch it off.
	if err := d.setBiasTee(biasTee); err != nil && biasTee {
		return err
	}
	return refused("empty its buffer", l.resetBuffer(d.handle))
}

func (d device) SetCounter(on bool) error {
	return refused("send its test counter", d.lib.setTestMode(d.handle, flag(on)))
}

func (d device) SetRate(hz uint32) error {
	return refused(fmt.Sprintf("take %d samples per second", hz), d.lib.setSampleRate(d.handle, hz))
}

func (d device) SetGain(tenths int) error {
	return refused(fmt.Sprintf("take a gain of %.1f dB", float64(tenths)/10), d.lib.setTunerGain(d.handle, int32(tenths)))
}

// SetCenter tries again where the tuner does not lock: some do at the second try.
func (d device) SetCenter(hz uint32) error {
	const tries = 2
	for try := 1; ; try++ {
		rc, lost := heeding(func() int32 { return d.lib.setCenterFreq(d.handle, hz) })
		if err := refused(fmt.Sprintf("go to %.3f MHz", float64(hz)/1e6), rc); err != nil {
			return err
		}
		if !lost {
			return nil
		}
		if try == tries {
			return &unlockedError{hz}
		}
	}
}

func (d device) setBiasTee(on bool) error {
	if d.lib.setBiasTee == nil {
		return refused("switch its bias tee: this librtlsdr cannot", -1)
	}
	return refused("switch its bias tee", d.lib.setBiasTee(d.handle, flag(on)))
}

func refused(what string, rc int32) error {
	if rc < 0 {
		return &refusedError{what, rc}
	}
	return nil
}

func flag(on bool) int32 {
	if on {
		return 1
	}
	return 0
}
