package listen

import (
	"math"
	"rooftone/dsp/robust"
)

// Tone is a line found in a fine spectrum.
type Tone struct {
	OffsetHz float64 // from the slice's middle, by the radio's clock
	SigmaHz  float64
	Power    float64 // FS²
	SigmaDB  float64 // standard uncertainty of power
	Density  float64 // of what lies around it, FS²/Hz
}

// Strongest returns the strongest tone between two offsets from a slice's
// middle, if noise alone would show as strong a one there with no more than
// the given probability.
func (f *Fine) Strongest(lowHz, highHz, falseAlarm float64) (Tone, bool) {
	around := f.Around()
	peak, ok := f.Peak(lowHz, highHz)
	if !ok || !(around > 0) || f.FalseAlarm(peak.Density/around, highHz-lowHz) > falseAlarm {
		return Tone{}, false
	}
	t := f.Tone(peak, around)
	return Tone{
		OffsetHz: t.OffsetHz, SigmaHz: t.OffsetSigmaHz,
		Power: t.Power, SigmaDB: 10 / math.Ln10 * t.PowerSigma / t.Power,
		Density: around,
	}, true
}

// Around is the density that noise has in the fine spectrum, whatever lone
// tones stand in it.
func (f *Fine) Around() float64 {
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
	return robust.Median(density[:n]) / robust.MedianOfGamma(f.Averages())
}

// ToneWidth is how near two tones of a fine spectrum can be told apart.
func (f *Fine) ToneWidth() float64 { return 4 * f.BandwidthHz() }
