package usb

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

// libusb's error codes (libusb.h, enum libusb_error), which librtlsdr hands
// through.
const (
	usbAccess       = -3
	usbNoDevice     = -4
	usbNotFound     = -5
	usbBusy         = -6
	usbNoMemory     = -11
	usbNotSupported = -12
)

// openProblem says why a dongle could not be opened, by the code that
// librtlsdr returned. 0 is a dongle that was "opened" but is not there: so it
// reports a kernel driver that it could not detach.
func openProblem(rc int32, what, sysfs string) error {
	switch {
	case rc == 0, rc == usbBusy && kernelDriver(sysfs):
		return &tuner.Problem{
			What: what + " is held by the kernel's television driver",
			Hint: "run: sudo modprobe -r " + kernelModule + " (or blacklist it and plug the dongle in again)",
			Err:  ErrKernelDriver,
		}
	case rc == usbBusy:
		return &tuner.Problem{
			What: what + " is in use by another program",
			Hint: "close the other program; a dongle server counts, use its tcp://HOST:PORT instead",
			Err:  ErrBusy,
		}
	case rc == usbAccess:
		p := &tuner.Problem{What: "no permission to use " + what, Err: ErrNoPermission}
		switch runtime.GOOS {
		case "linux":
			p.Hint = "install the udev rules (Debian: apt install librtlsdr0 or librtlsdr2), plug the dongle in again, and be in the group plugdev"
		case "windows":
			p.Hint = "close other programs that use it, and see that the WinUSB driver is installed for it"
		default:
			p.Hint = "run as a user that may use USB devices"
		}
		return p
	case rc == usbNotSupported, rc == usbNotFound && runtime.GOOS == "windows":
		return &tuner.Problem{
			What: what + " has a driver that librtlsdr cannot use",
			Hint: "on Windows, install the WinUSB driver for its interface 0",
			Err:  ErrBusy,
		}
	case rc == usbNoDevice, rc == usbNotFound:
		return &tuner.Problem{
			What: what + " is gone",
			Hint: "plug it in again, without a hub or on a shorter cable if that happens often",
			Err:  ErrUnplugged,
		}
	}
	return &tuner.Problem{
		What: fmt.Sprintf("%s cannot be opened (librtlsdr says %d)", what, rc),
		Hint: "plug the dongle in again and retry",
		Err:  ErrRefused,
	}
}

// kernelModule is Linux's television driver for these dongles.
const kernelModule = "dvb_usb_rtl28xxu"

// kernelDriver says whether Linux's television driver has a dongle: then its
// directory has a link to the interface, such as 1-1.2:1.0.
func kernelDriver(sysfs string) bool {
	entries, err := os.ReadDir(filepath.Join(sysfs, "bus/usb/drivers", kernelModule))
	if err != nil {
		return false
	}
	for _, e := range entries {
		if strings.Contains(e.Name(), ":") {
			return true
		}
	}
	return false
}

// refusedError is a command that librtlsdr returned an error code for.
type refusedError struct {
	what string
	rc   int32
}

func (e *refusedError) Error() string {
	return fmt.Sprintf("%s (librtlsdr says %d)", e.what, e.rc)
}

// problem puts an error of the receiver or the device into words.
func (r *radio) problem(err error) error {
	if err == nil {
		return nil
	}
	name := r.info.Name
	var refused *refusedError
	var ended *endedError
	var unlocked *unlockedError
	switch {
	case errors.As(err, &unlocked):
		return &tuner.Problem{
			What: fmt.Sprintf("%s cannot receive there: %v", name, unlocked),
			Hint: "let the dongle warm up or cool down and try again; other frequencies may work",
			Err:  errors.Join(tuner.ErrNoLock, err),
		}
	case errors.As(err, &ended) && ended.rc == usbNoMemory:
		return &tuner.Problem{
			What: "the kernel has no memory for the USB buffers of " + name,
			Hint: "run: echo 0 | sudo tee /sys/module/usbcore/parameters/usbfs_memory_mb",
			Err:  errors.Join(ErrRefused, err),
		}
	case r.gone(err):
		return &tuner.Problem{
			What: name + " was unplugged or dropped off the USB",
			Hint: "plug it in again, without a hub or on a shorter cable if that happens often",
			Err:  errors.Join(ErrUnplugged, err),
		}
	case errors.As(err, &refused):
		return &tuner.Problem{
			What: fmt.Sprintf("%s refused to %s", name, refused),
			Hint: "plug the dongle in again and retry",
			Err:  errors.Join(ErrRefused, err),
		}
	case errors.Is(err, dongle.ErrStalled), errors.Is(err, dongle.ErrStuck), errors.Is(err, dongle.ErrBehind):
		return &tuner.Problem{
			What: fmt.Sprintf("%s stalled: %v", name, err),
			Hint: "plug the dongle in again, in another USB socket if that happens often",
			Err:  errors.Join(ErrStalled, err),
		}
	case errors.Is(err, dongle.ErrTooSlow):
		return &tuner.Problem{
			What: "this computer does not keep up with the samples from " + name,
			Hint: "close other programs and try again",
			Err:  errors.Join(ErrTooSlow, err),
		}
	}
	return err
}
