package dongle

import (
	"fmt"
	"math"

	"rooftone/scan/tuner"
)

// The RTL2832's crystal, from which the common tuners' is taken too, and what
// is known of it.
const (
	crystalHz = 28.8e6
	maxPPM    = 60 // common practice for dongles without a better oscillator
)

// Datatype is the dongles' sample format in SigMF's words.
const Datatype = "cu8"

// Clock returns what is known of a dongle's clock.
func Clock() tuner.ClockSource {
	return tuner.ClockSource{ReferenceHz: crystalHz, MaxPPM: maxPPM}
}

// Chip is a tuner chip by librtlsdr's number for it (enum rtlsdr_tuner in
// rtl-sdr.h), which is also what the dongle server greets with.
type Chip uint32

// The numbers of rtl-sdr.h.
const (
	ChipUnknown Chip = iota
	E4000
	FC0012
	FC0013
	FC2580
	R820T
	R828D
)

// Gains returns the chip's gain steps in tenths of a dB, ascending; none for
// a chip that is not known or that librtlsdr does not set the gain of. They
// are the values of rtlsdr_get_tuner_gains.
func (c Chip) Gains() []int {
	switch c {
	case E4000:
		return []int{-10, 15, 40, 65, 90, 115, 140, 165, 190, 215, 240, 290, 340, 420}
	case FC0012:
		return []int{-99, -40, 71, 179, 192}
	case FC0013:
		return []int{-99, -73, -65, -63, -60, -58, -54, 58, 61, 63, 65, 67, 68, 70, 71,
			179, 181, 182, 184, 186, 188, 191, 197}
	case R820T, R828D:
		return []int{0, 9, 14, 27, 37, 77, 87, 125, 144, 157, 166, 197, 207, 229, 254,
			280, 297, 328, 338, 364, 372, 386, 402, 421, 434, 439, 445, 480, 496}
	}
	return nil
}

// GainsDB converts gain steps in tenths of a dB to dB.
func GainsDB(tenths []int) []float64 {
	if len(tenths) == 0 {
		return nil
	}
	out := make([]float64, len(tenths))
	for i, g := range tenths {
		out[i] = float64(g) / 10
	}
	return out
}

// nearest returns the step closest to gainDB. There is at least one step.
func nearest(tenths []int, gainDB float64) int {
	want := min(max(10*gainDB, float64(tenths[0])), float64(tenths[len(tenths)-1]))
	best := tenths[0]
	for _, g := range tenths {
		if math.Abs(float64(g)-want) < math.Abs(float64(best)-want) {
			best = g
		}
	}
	return best
}

// checkRate says whether the RTL2832's resampler has the rate: 225001 to
// 300000 and 900001 to 3200000 samples per second (rtl-sdr.h,
// rtlsdr_set_sample_rate).
func checkRate(hz float64) error {
	if hz >= 225001 && hz <= 300000 || hz >= 900001 && hz <= 3200000 {
		return nil
	}
	return fmt.Errorf("a dongle has no sample rate of %g per second: it has 225001 to 300000 and 900001 to 3200000", hz)
}

// realRate returns the rate that the resampler really makes of a wanted one:
// its ratio to the crystal has 22 fractional bits, of which the last two are
// zero.
func realRate(hz uint32) float64 {
	const scaled = crystalHz * (1 << 22)
	ratio := uint32(scaled/float64(hz)) & 0x0ffffffc
	ratio |= ratio & 0x08000000 << 1
	return scaled / float64(ratio)
}
