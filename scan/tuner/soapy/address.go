package soapy

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Address says which radio is meant, and how to set what is set once.
type Address struct {
	// Device is what SoapySDR is told, such as driver=lime,serial=0123; "" is the
	// first radio that it finds.
	Device string

	Antenna     string    // the socket; "" leaves the driver's choice
	BandwidthHz float64   // of the filter before the converter; 0: by the sample rate
	Elements    []Element // gains that stay as they are set, by element
}

// Element is one of a radio's amplifiers and its gain.
type Element struct {
	Name string
	DB   float64
}

// ParseAddress reads KEY=VALUE,KEY=VALUE. The keys antenna, bandwidth and
// gain.NAME are ours, all others SoapySDR's. Its error says what is wrong with
// the text, in lower case.
func ParseAddress(s string) (Address, error) {
	var a Address
	var device []string
	if s == "" {
		return a, nil
	}
	for word := range strings.SplitSeq(s, ",") {
		key, value, ok := strings.Cut(strings.TrimSpace(word), "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if !ok || key == "" || value == "" {
			return Address{}, fmt.Errorf("%q is no KEY=VALUE", word)
		}
		if strings.ContainsRune(word, 0) {
			return Address{}, fmt.Errorf("%q holds a zero", word)
		}
		var err error
		switch element, isGain := strings.CutPrefix(key, "gain."); {
		case key == "antenna":
			a.Antenna = value
		case key == "bandwidth":
			a.BandwidthHz, err = hertz(value)
		case isGain:
			err = a.setElement(element, value)
		default:
			device = append(device, key+"="+value)
		}
		if err != nil {
			return Address{}, err
		}
	}
	a.Device = strings.Join(device, ",")
	return a, nil
}

func (a *Address) setElement(name, value string) error {
	dB, err := strconv.ParseFloat(value, 64)
	if name == "" || err != nil || math.IsNaN(dB) || math.Abs(dB) > 200 {
		return fmt.Errorf("gain.%s=%s is no gain in dB, such as gain.LNA=20", name, value)
	}
	if slices.ContainsFunc(a.Elements, func(e Element) bool { return e.Name == name }) {
		return fmt.Errorf("gain.%s is given twice", name)
	}
	a.Elements = append(a.Elements, Element{name, dB})
	return nil
}

// hertz reads a number of hertz, which may end in k or M.
func hertz(value string) (float64, error) {
	number, scale := value, 1.0
	for suffix, times := range map[string]float64{"k": 1e3, "M": 1e6} {
		if cut, ok := strings.CutSuffix(value, suffix); ok {
			number, scale = cut, times
		}
	}
	hz, err := strconv.ParseFloat(number, 64)
	if hz *= scale; err != nil || !(hz >= 1e3 && hz <= 1e9) {
		return 0, fmt.Errorf("bandwidth=%s is no width in Hz, such as bandwidth=8M", value)
	}
	return hz, nil
}
