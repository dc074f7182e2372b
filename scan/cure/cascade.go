package cure

import (
	"math"

	"rooftone/dsp/decibel"
)

// Stage is one part of a chain that signals pass one after another.
type Stage struct {
	GainDB        float64 // negative of a loss
	NoiseFigureDB float64
	// The input intercepts of second and third order; nil is a part without that
	// limit.
	SecondDBm, ThirdDBm *float64
}

// Passive is a part that only loses: at 290 K its noise figure is its loss.
func Passive(lossDB float64) Stage { return Stage{GainDB: -lossDB, NoiseFigureDB: lossDB} }

// Cascade is what a chain comes to, as one Stage. Its noise factor is Friis's,
//
//	F = F₁ + (F₂ − 1)/G₁ + (F₃ − 1)/(G₁G₂) + …
//
// (H. T. Friis, Proc. IRE 32, 1944, 419), and its intercepts those of parts whose
// products add up in the worst way for third order, 1/IIP3 = 1/IIP3₁ + G₁/IIP3₂ + …,
// and as amplitudes for second, 1/√IIP2 = 1/√IIP2₁ + √(G₁/IIP2₂) + …
//
// An empty chain is a Stage of no gain and no noise.
func Cascade(chain ...Stage) Stage {
	gain, factor := 1.0, 1.0
	var second, third float64 // of the inverses
	for _, s := range chain {
		factor += (decibel.Power(s.NoiseFigureDB) - 1) / gain
		if s.SecondDBm != nil {
			second += math.Sqrt(gain / decibel.Power(*s.SecondDBm))
		}
		if s.ThirdDBm != nil {
			third += gain / decibel.Power(*s.ThirdDBm)
		}
		gain *= decibel.Power(s.GainDB)
	}
	out := Stage{GainDB: decibel.Of(gain), NoiseFigureDB: decibel.Of(factor)}
	if second > 0 {
		dBm := -2 * decibel.Of(second)
		out.SecondDBm = &dBm
	}
	if third > 0 {
		dBm := -decibel.Of(third)
		out.ThirdDBm = &dBm
	}
	return out
}

// ThermalDBm is the noise of a matched source at 290 K in 6 MHz, as FCC OET
// Bulletin 69 rounds it.
const ThermalDBm = -106.2
