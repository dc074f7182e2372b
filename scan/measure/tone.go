package measure

import (
	"math"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

// tone is a line found in a fine spectrum.
type tone struct {
	offsetHz float64 // from the slice's middle, by the radio's clock
	sigmaHz  float64
	power    float64 // FS²
	sigmaDB  float64 // standard uncertainty of power
	density  float64 // of what lies around it, FS²/Hz
}

// strongest returns the strongest tone between two offsets from a slice's
// middle, if noise alone would show as strong a one there with no more than
// the given probability.
func strongest(f *Fine, lowHz, highHz, falseAlarm float64) (tone, bool) {
	around := f.around()
	peak, ok := f.Peak(lowHz, highHz)
	if !ok || !(around > 0) || f.FalseAlarm(peak.Density/around, highHz-lowHz) > falseAlarm {
		return tone{}, false
	}
	t := f.Tone(peak, around)
	return tone{
		offsetHz: t.OffsetHz, sigmaHz: t.OffsetSigmaHz,
		power: t.Power, sigmaDB: 10 / math.Ln10 * t.PowerSigma / t.Power,
		density: around,
	}, true
}

// around is the density that noise has in the fine spectrum, whatever lone
// tones stand in it.
func (f *Fine) around() float64 {
	if f.level > 0 {
		return f.level
	}
	f.level = f.findLevel(f.Density(nil))
	return f.level
}

// findLevel is around, from the density, which it overwrites.
func (f *Fine) findLevel(density []float64) float64 {
	// The grid is finer than what is independent on it.
	stride := max(1, int(f.CellHz()/f.StepHz()))
	n := 0
	for i := 0; i < len(density); i += stride {
		density[n] = density[i]
		n++
	}
	return median(density[:n]) / medianOfGamma(f.Averages())
}

// toneWidth is how near two tones of a fine spectrum can be told apart.
func toneWidth(f *Fine) float64 { return 4 * f.BandwidthHz() }

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
