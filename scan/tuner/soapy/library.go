package soapy

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"unsafe"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/sharedlib"
)

// What the functions below want to be told.
const (
	receiving = 1 // SOAPY_SDR_RX of Constants.h
	channel   = 0 // the first receiver of a radio; others are not used
)

// library is libSoapySDR: the functions of its C interface (Device.h, Types.h,
// Logger.h, Modules.h of version 0.8) that are used here. C's int is int32, size_t
// and handles are uintptr. What is returned as an unsafe.Pointer was allocated by
// the library and has to be given back.
type library struct {
	lastStatus  func() int32
	lastError   func() string
	setLogLevel func(level int32)
	listModules func(n *uintptr) unsafe.Pointer

	free         func(p unsafe.Pointer)
	clearStrings func(p *unsafe.Pointer, n uintptr)
	clearKwargs  func(p unsafe.Pointer, n uintptr)
	clearInfos   func(p unsafe.Pointer, n uintptr)

	enumerate     func(args string, n *uintptr) unsafe.Pointer
	open          func(args unsafe.Pointer) uintptr
	close         func(dev uintptr) int32
	driver        func(dev uintptr) unsafe.Pointer
	hardware      func(dev uintptr) unsafe.Pointer
	receivers     func(dev uintptr, direction int32) uintptr
	settings      func(dev uintptr, n *uintptr) unsafe.Pointer
	writeSetting  func(dev uintptr, key, value string) int32
	referenceRate func(dev uintptr) float64
	hasTime       func(dev uintptr, what string) bool
	time          func(dev uintptr, what string) int64

	nativeFormat func(dev uintptr, direction int32, channel uintptr, fullScale *float64) unsafe.Pointer
	formats      func(dev uintptr, direction int32, channel uintptr, n *uintptr) unsafe.Pointer
	setupStream  func(dev uintptr, direction int32, format string, channels *uintptr, n uintptr, args unsafe.Pointer) uintptr
	closeStream  func(dev, stream uintptr) int32
	streamMTU    func(dev, stream uintptr) uintptr
	activate     func(dev, stream uintptr, flags int32, timeNs int64, n uintptr) int32
	deactivate   func(dev, stream uintptr, flags int32, timeNs int64) int32
	readStream   func(dev, stream uintptr, buffers unsafe.Pointer, n uintptr, flags *int32, timeNs *int64, timeoutUS int) int32

	antennas   func(dev uintptr, direction int32, channel uintptr, n *uintptr) unsafe.Pointer
	setAntenna func(dev uintptr, direction int32, channel uintptr, name string) int32

	hasAutomaticDC func(dev uintptr, direction int32, channel uintptr) bool
	setAutomaticDC func(dev uintptr, direction int32, channel uintptr, on bool) int32

	gains            func(dev uintptr, direction int32, channel uintptr, n *uintptr) unsafe.Pointer
	hasAutomaticGain func(dev uintptr, direction int32, channel uintptr) bool
	setAutomaticGain func(dev uintptr, direction int32, channel uintptr, on bool) int32
	setGain          func(dev uintptr, direction int32, channel uintptr, dB float64) int32
	gain             func(dev uintptr, direction int32, channel uintptr) float64
	gainRange        func(dev uintptr, direction int32, channel uintptr) span
	setElement       func(dev uintptr, direction int32, channel uintptr, name string, dB float64) int32
	elementRange     func(dev uintptr, direction int32, channel uintptr, name string) span

	setFrequency    func(dev uintptr, direction int32, channel uintptr, hz float64, args unsafe.Pointer) int32
	frequency       func(dev uintptr, direction int32, channel uintptr) float64
	frequencyRanges func(dev uintptr, direction int32, channel uintptr, n *uintptr) unsafe.Pointer
	setRate         func(dev uintptr, direction int32, channel uintptr, hz float64) int32
	rate            func(dev uintptr, direction int32, channel uintptr) float64
	rateRanges      func(dev uintptr, direction int32, channel uintptr, n *uintptr) unsafe.Pointer
	setBandwidth    func(dev uintptr, direction int32, channel uintptr, hz float64) int32
	bandwidthRanges func(dev uintptr, direction int32, channel uintptr, n *uintptr) unsafe.Pointer
}

// span is a SoapySDRRange.
type span struct{ Low, High, Step float64 }

// symbols pairs the library's names with where they go.
func (l *library) symbols() map[string]any {
	return map[string]any{
		"SoapySDRDevice_lastStatus":            &l.lastStatus,
		"SoapySDRDevice_lastError":             &l.lastError,
		"SoapySDR_setLogLevel":                 &l.setLogLevel,
		"SoapySDR_listModules":                 &l.listModules,
		"SoapySDR_free":                        &l.free,
		"SoapySDRStrings_clear":                &l.clearStrings,
		"SoapySDRKwargsList_clear":             &l.clearKwargs,
		"SoapySDRArgInfoList_clear":            &l.clearInfos,
		"SoapySDRDevice_enumerateStrArgs":      &l.enumerate,
		"SoapySDRDevice_make":                  &l.open,
		"SoapySDRDevice_unmake":                &l.close,
		"SoapySDRDevice_getDriverKey":          &l.driver,
		"SoapySDRDevice_getHardwareKey":        &l.hardware,
		"SoapySDRDevice_getNumChannels":        &l.receivers,
		"SoapySDRDevice_getSettingInfo":        &l.settings,
		"SoapySDRDevice_writeSetting":          &l.writeSetting,
		"SoapySDRDevice_getReferenceClockRate": &l.referenceRate,
		"SoapySDRDevice_hasHardwareTime":       &l.hasTime,
		"SoapySDRDevice_getHardwareTime":       &l.time,
		"SoapySDRDevice_getNativeStreamFormat": &l.nativeFormat,
		"SoapySDRDevice_getStreamFormats":      &l.formats,
		"SoapySDRDevice_setupStream":           &l.setupStream,
		"SoapySDRDevice_closeStream":           &l.closeStream,
		"SoapySDRDevice_getStreamMTU":          &l.streamMTU,
		"SoapySDRDevice_activateStream":        &l.activate,
		"SoapySDRDevice_deactivateStream":      &l.deactivate,
		"SoapySDRDevice_readStream":            &l.readStream,
		"SoapySDRDevice_listAntennas":          &l.antennas,
		"SoapySDRDevice_setAntenna":            &l.setAntenna,
		"SoapySDRDevice_hasDCOffsetMode":       &l.hasAutomaticDC,
		"SoapySDRDevice_setDCOffsetMode":       &l.setAutomaticDC,
		"SoapySDRDevice_listGains":             &l.gains,
		"SoapySDRDevice_hasGainMode":           &l.hasAutomaticGain,
		"SoapySDRDevice_setGainMode":           &l.setAutomaticGain,
		"SoapySDRDevice_setGain":               &l.setGain,
		"SoapySDRDevice_getGain":               &l.gain,
		"SoapySDRDevice_getGainRange":          &l.gainRange,
		"SoapySDRDevice_setGainElement":        &l.setElement,
		"SoapySDRDevice_getGainElementRange":   &l.elementRange,
		"SoapySDRDevice_setFrequency":          &l.setFrequency,
		"SoapySDRDevice_getFrequency":          &l.frequency,
		"SoapySDRDevice_getFrequencyRange":     &l.frequencyRanges,
		"SoapySDRDevice_setSampleRate":         &l.setRate,
		"SoapySDRDevice_getSampleRate":         &l.rate,
		"SoapySDRDevice_getSampleRateRange":    &l.rateRanges,
		"SoapySDRDevice_setBandwidth":          &l.setBandwidth,
		"SoapySDRDevice_getBandwidthRange":     &l.bandwidthRanges,
	}
}

// usualNames are the names of the library's version 0.8, whose interface this is.
func usualNames() []string {
	switch runtime.GOOS {
	case "darwin":
		return []string{"libSoapySDR.0.8.dylib", "libSoapySDR.dylib"}
	case "windows":
		return []string{"SoapySDR.dll", "libSoapySDR.dll"}
	}
	return []string{"libSoapySDR.so.0.8", "libSoapySDR.so.0.8.1", "libSoapySDR.so"}
}

// load loads the library at path, or one of the usual ones when path is "". It
// stays loaded, as its modules do.
func load(path string) (*library, error) {
	if unsafe.Sizeof(uintptr(0)) < 8 {
		return nil, &tuner.Problem{
			What: fmt.Sprintf("on %s/%s there is no SoapySDR", runtime.GOOS, runtime.GOARCH),
			Hint: "use a 64-bit system, or a dongle by usb or tcp://HOST:PORT",
			Err:  ErrNoLibrary,
		}
	}
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
			What: "libSoapySDR, the library for all kinds of radios, cannot be loaded: " + sharedlib.OneLine(err),
			Hint: fmt.Sprintf("install the one for %s/%s, or name it in %s", runtime.GOOS, runtime.GOARCH, LibraryEnv),
			Err:  errors.Join(ErrBadLibrary, err),
		}
	}
	what := "libSoapySDR, the library for all kinds of radios, is not installed"
	if path != "" {
		what = "there is no library at " + path
	}
	return nil, &tuner.Problem{What: what, Hint: installHint(), Err: ErrNoLibrary}
}

func bind(path string, handle uintptr) (*library, error) {
	l := new(library)
	if lacks, err := sharedlib.Bind(handle, l.symbols()); err != nil {
		return nil, &tuner.Problem{
			What: fmt.Sprintf("%s is not a libSoapySDR that can be used: it has no %s", path, lacks),
			Hint: installHint(),
			Err:  errors.Join(ErrBadLibrary, err),
		}
	}
	// What it has to say to people is said here; who wants its own words asks the
	// library for them in its own way.
	if os.Getenv("SOAPY_SDR_LOG_LEVEL") == "" {
		const fatal = 1 // Logger.h
		l.setLogLevel(fatal)
	}
	return l, nil
}

func installHint() string {
	switch runtime.GOOS {
	case "darwin":
		return "install it with brew install soapysdr, and the module of the radio"
	case "windows":
		return "install SoapySDR 0.8 for 64 bits and have its folder in PATH"
	}
	return "install it with apt install libsoapysdr0.8, and the module of the radio: apt install soapysdr-module-all"
}
