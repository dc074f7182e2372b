package cure

import (
	"math"

	"rooftone/dsp/decibel"
)

// draws is how often everything that is not known is drawn. The ends of a 95 %
// interval are then known to about a tenth of its width.
const draws = 800

// share is the value between 0 and 1 that a draw has for one unknown: the same for
// the same two numbers, even and without pattern (the finaliser of SplitMix64).
func share(draw, slot int) float64 {
	if draw < 0 { // the middle of everything
		return 0.5
	}
	x := uint64(draw)*0x9e3779b97f4a7c15 + uint64(slot)*0xd1b54a32d192ed03 + 0x632be59bd9b4e019
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	x ^= x >> 31
	return (float64(x>>11) + 0.5) * 0x1p-53
}

// sigmas is the same for an unknown that is spread normally: in standard
// deviations.
func sigmas(draw, slot int) float64 { return math.Sqrt2 * math.Erfinv(2*share(draw, slot)-1) }

// What the unknowns are told apart by. A part has its slot, and each channel of its
// own unknowns three.
const (
	slotNoiseFigure = iota
	slotBackEnd
	slotManMade
	slotWarm
	slotLine
	slotThird
	slotRoom
	slotParts    = 100
	slotChanges  = 1000
	slotChannels = 10000
)

// stage is a part's gain and noise in one draw, as factors.
func (p *Part) stage(hz float64, draw int) (gain, factor float64) {
	u := share(draw, slotParts+p.slot)
	lost := func(dB float64) (float64, float64) {
		l := decibel.Power(dB)
		return 1 / l, l
	}
	switch p.Kind {
	case Amplifier:
		v := share(draw, slotParts+p.slot+1)
		return decibel.Power(p.Gain.at(u)), decibel.Power(p.Noise.at(v))
	case Wire:
		if p.AtHz > 0 {
			return lost(p.Loss.Low * math.Sqrt(hz/p.AtHz))
		}
		return lost(p.Cable.LossDB(p.LengthM, hz) * (1 + CableSpread*(2*u-1)))
	case Splitter, Loss, Filter:
		return lost(p.Loss.at(u))
	}
	return 1, 1
}

// signalDB is what a change of the antenna gives a signal in one draw.
func (p *Part) signalDB(hz float64, draw int) float64 {
	u := share(draw, slotParts+p.slot)
	switch p.Kind {
	case Antenna:
		for _, b := range p.ByBand {
			if hz >= b.LowHz && hz < b.HighHz {
				return b.Gain.at(u)
			}
		}
		return p.Gain.at(u)
	case Height:
		return heightDB(p.FromM, p.ToM, u, sigmas(draw, slotParts+p.slot+1))
	}
	return 0
}

// heightDB is what another height is said to bring: a rule of thumb, from memory. It
// is 20·log of the heights' ratio over flat open ground; between none and 1.3 times
// that is common; and what stands around and the waves between antenna and ground
// scatter it by some 2 dB, more the farther it is moved.
func heightDB(fromM, toM, share, sigmas float64) float64 {
	const most, scatterDB = 1.3, 2
	ratio := 20 * math.Log10(toM/fromM)
	return most*share*ratio + scatterDB*sigmas*math.Min(1, math.Abs(ratio)/2)
}

// chain is what parts come to: Friis's formula as in Cascade, in factors.
func chain(parts []Part, hz float64, draw int) (gain, factor, signal float64) {
	gain, factor = 1, 1
	var dB float64
	for i := range parts {
		g, f := parts[i].stage(hz, draw)
		factor += (f - 1) / gain
		gain *= g
		dB += parts[i].signalDB(hz, draw)
	}
	return gain, factor, decibel.Power(dB)
}
