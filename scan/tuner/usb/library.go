package usb

import (
	"errors"
	"fmt"
	"runtime"

	"github.com/ebitengine/purego"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/sharedlib"
)

// library is librtlsdr: the functions of rtl-sdr.h that are used here. C's int
// is int32, a rtlsdr_dev_t pointer is a uintptr.
type library struct {
	deviceCount func() uint32
	deviceName  func(index uint32) string
	usbStrings  func(index uint32, maker, product, serial *byte) int32

	open          func(dev *uintptr, index uint32) int32
	close         func(dev uintptr) int32
	deviceStrings func(dev uintptr, maker, product, serial *byte) int32
	tunerType     func(dev uintptr) int32
	tunerGains    func(dev uintptr, gains *int32) int32

	setCenterFreq     func(dev uintptr, hz uint32) int32
	setSampleRate     func(dev uintptr, hz uint32) int32
	setTunerGainMode  func(dev uintptr, manual int32) int32
	setTunerGain      func(dev uintptr, tenths int32) int32
	setAGCMode        func(dev uintptr, on int32) int32
	setTestMode       func(dev uintptr, on int32) int32
	getDirectSampling func(dev uintptr) int32
	setDirectSampling func(dev uintptr, on int32) int32
	getOffsetTuning   func(dev uintptr) int32
	setOffsetTuning   func(dev uintptr, on int32) int32
	resetBuffer       func(dev uintptr) int32
	readAsync         func(dev, callback, ctx uintptr, buffers, bytes uint32) int32
	cancelAsync       func(dev uintptr) int32
	setBiasTee        func(dev uintptr, on int32) int32 // nil in old versions
}

// symbols pairs the library's names with where they go.
func (l *library) symbols() map[string]any {
	return map[string]any{
		"rtlsdr_get_device_count":       &l.deviceCount,
		"rtlsdr_get_device_name":        &l.deviceName,
		"rtlsdr_get_device_usb_strings": &l.usbStrings,
		"rtlsdr_open":                   &l.open,
		"rtlsdr_close":                  &l.close,
		"rtlsdr_get_usb_strings":        &l.deviceStrings,
		"rtlsdr_get_tuner_type":         &l.tunerType,
		"rtlsdr_get_tuner_gains":        &l.tunerGains,
		"rtlsdr_set_center_freq":        &l.setCenterFreq,
		"rtlsdr_set_sample_rate":        &l.setSampleRate,
		"rtlsdr_set_tuner_gain_mode":    &l.setTunerGainMode,
		"rtlsdr_set_tuner_gain":         &l.setTunerGain,
		"rtlsdr_set_agc_mode":           &l.setAGCMode,
		"rtlsdr_set_testmode":           &l.setTestMode,
		"rtlsdr_get_direct_sampling":    &l.getDirectSampling,
		"rtlsdr_set_direct_sampling":    &l.setDirectSampling,
		"rtlsdr_get_offset_tuning":      &l.getOffsetTuning,
		"rtlsdr_set_offset_tuning":      &l.setOffsetTuning,
		"rtlsdr_reset_buffer":           &l.resetBuffer,
		"rtlsdr_read_async":             &l.readAsync,
		"rtlsdr_cancel_async":           &l.cancelAsync,
	}
}

// optional are the symbols that old versions of the library lack.
func (l *library) optional() map[string]any {
	return map[string]any{"rtlsdr_set_bias_tee": &l.setBiasTee}
}

// load loads the library at path, or one of the usual ones when path is "". It
// stays loaded: its threads and its libusb do not survive being taken away.
func load(path string) (*library, error) {
	paths := sharedlib.Paths(usualNames()...)
	if path != "" {
		paths = []string{path}
	}
	at, handle, err := sharedlib.Load(paths)
	switch {
	case err == nil:
		return bind(at, handle)
	case !errors.Is(err, sharedlib.ErrMissing):
		return nil, &tuner.Problem{
			What: "librtlsdr, the library for USB dongles, cannot be loaded: " + sharedlib.OneLine(err),
			Hint: fmt.Sprintf("install the one for %s/%s, or name it in %s", runtime.GOOS, runtime.GOARCH, LibraryEnv),
			Err:  errors.Join(ErrBadLibrary, err),
		}
	}
	what := "librtlsdr, the library for USB dongles, is not installed"
	if path != "" {
		what = "there is no library at " + path
	}
	return nil, &tuner.Problem{
		What: what,
		Hint: installHint() + ", or use a dongle server: tcp://HOST:PORT",
		Err:  ErrNoLibrary,
	}
}

// usualNames are the library's names; on Linux the first is that of Debian 12 and
// before, the second what came after.
func usualNames() []string {
	switch runtime.GOOS {
	case "darwin":
		return []string{"librtlsdr.dylib", "librtlsdr.0.dylib", "librtlsdr.2.dylib"}
	case "windows":
		return []string{"rtlsdr.dll", "librtlsdr.dll"}
	}
	return []string{"librtlsdr.so.0", "librtlsdr.so.2", "librtlsdr.so"}
}

func bind(path string, handle uintptr) (*library, error) {
	listening() // before the library has something to say
	l := new(library)
	if lacks, err := sharedlib.Bind(handle, l.symbols()); err != nil {
		return nil, &tuner.Problem{
			What: fmt.Sprintf("%s is not a librtlsdr that can be used: it has no %s", path, lacks),
			Hint: installHint(),
			Err:  errors.Join(ErrBadLibrary, err),
		}
	}
	for name, fn := range l.optional() {
		if sym, err := sharedlib.Symbol(handle, name); err == nil {
			purego.RegisterFunc(fn, sym)
		}
	}
	return l, nil
}

func installHint() string {
	switch runtime.GOOS {
	case "darwin":
		return "install it with brew install librtlsdr"
	case "windows":
		return "put rtlsdr.dll and the libusb-1.0.dll that came with it beside rooftone.exe"
	}
	return "install it with apt install librtlsdr0 (on newer systems librtlsdr2)"
}
