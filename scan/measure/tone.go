package measure

import (
	"math"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

// impliedCN is the C/N in 6 MHz that a pilot of the given power stands for on
// a flat channel with a noise density.
func impliedCN(pilot, density float64) float64 {
	return pilot / vsb.PilotShare / (density * band.WidthHz)
}

// knownSpur names the radio's own tone that falls on a frequency of its own
// scale, if there is one.
func knownSpur(tunedHz, offsetHz, widthHz, referenceHz float64) string {
	if math.Abs(offsetHz) < widthHz {
		return "the middle of the slice"
	}
	if referenceHz > 0 {
		hz := tunedHz + offsetHz
		if away := math.Abs(hz - referenceHz*math.Round(hz/referenceHz)); away < widthHz {
			return "a harmonic of the radio's clock"
		}
	}
	return ""
}
