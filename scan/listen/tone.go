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

// mostLines is how many lines are told apart around a pilot's place.
const mostLines = 6

// faintestLine is the least power of a line relative to the strongest one: what
// a window and a dongle's phase noise leave beside that is weaker.
const faintestLine = 1e-4

// PilotLines returns the lines at which the channel's pilot may be in a slice
// tuned to centerHz, the strongest first: those that noise alone would show with
// no more than the given probability, for a clock of up to reachPPM either way.
// What stands in the slice's middle is the radio's own and no line; hidden
// reports that a pilot may be under it.
func (f *Fine) PilotLines(centerHz, reachPPM, falseAlarm float64) (lines []Tone, hidden bool) {
	nominal := f.Channel.PilotHz()
	reach := reachPPM*1e-6*nominal + PilotErrorHz
	low, high := nominal-centerHz-reach, nominal-centerHz+reach
	width := f.ToneWidth()
	hidden = low < width && high > -width
	// The stretches between what was found.
	free := [][2]float64{{low, high}}
	cut := func(at float64) {
		var rest [][2]float64
		for _, s := range free {
			if left := [2]float64{s[0], min(s[1], at-width)}; left[1] > left[0] {
				rest = append(rest, left)
			}
			if right := [2]float64{max(s[0], at+width), s[1]}; right[1] > right[0] {
				rest = append(rest, right)
			}
		}
		free = rest
	}
	if hidden {
		cut(0)
	}
	for len(lines) < mostLines {
		var best Tone
		for _, s := range free {
			if t, ok := f.Strongest(s[0], s[1], falseAlarm); ok && t.Power > best.Power {
				best = t
			}
		}
		if best.Power == 0 || len(lines) > 0 && best.Power < faintestLine*lines[0].Power {
			break // nothing, or a strong line's foot
		}
		lines = append(lines, best)
		cut(best.OffsetHz)
	}
	return lines, hidden
}
