package impulse

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// What telephone networks send comes in frames of 10 ms, each of ten equal
// subframes: its power has lines at the multiples of 100 Hz, as that of noise
// with mains of 50 Hz has, and among them those at the multiples of 1 kHz stand
// out, far above where the pulses of a motor or a lamp still have any order.
const (
	frameHz       = 100
	subframeLines = 10 // of frameHz
	frameLines    = 99 // up to half the rate that rhythms are sought at

	// subframesLeast of the multiples of 1 kHz must stand out by themselves:
	// pulses that come in evenly spaced groups lift one or two.
	subframesLeast  = 4
	subframesChance = 0.05
)

// addFrame takes in a piece.
func (r *Rhythm) addFrame(x []float64, stepSeconds, mean, variance float64) {
	var turns, power [frameLines]float64
	for k := range turns {
		turns[k] = frameHz * float64(k+1) * stepSeconds
	}
	turningPower(power[:], x, mean, turns[:])
	for k, p := range power {
		r.frame[k] += p / variance
	}
}

// Framed reports whether the power repeats as a telephone network's does. Each
// multiple of 1 kHz is compared with the ten multiples of 100 Hz beside it. For
// noise both are gamma variables of one mean, so their share is a beta variable
// and has a probability; even pulses make them alike, whose probability is
// about a half. By Fisher's rule chance has what all together say with no more
// than the given probability.
//
// Groups of pulses that come evenly, 1 or 0.5 ms apart within a group and in
// time with mains of 50 Hz, are taken for frames.
func (r *Rhythm) Framed(falseAlarm float64) bool {
	if k, ok := r.Mains(falseAlarm); !ok || k.MainsHz != frameHz {
		return false
	}
	var logs float64
	clear, n := 0, 0.0
	for k := subframeLines; k <= frameLines-subframeLines/2; k += subframeLines {
		var beside float64
		for d := 1; d <= subframeLines/2; d++ {
			beside += r.frame[k-1-d] + r.frame[k-1+d]
		}
		here := r.frame[k-1]
		p := 1.0
		if here > 0 {
			p = 1 - mathext.RegIncBeta(r.pieces, subframeLines*r.pieces, here/(here+beside))
		}
		if p < subframesChance {
			clear++
		}
		logs -= math.Log(math.Max(p, 1e-300))
		n++
	}
	return clear >= subframesLeast && mathext.GammaIncRegComp(n, logs) <= falseAlarm
}
