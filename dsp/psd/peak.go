package psd

import "math"

// Peak is the highest place of a density, interpolated.
type Peak struct {
	OffsetHz float64 // from the middle of the samples' band
	Density  float64 // FS²/Hz
}

// Tone is a tone with what noise leaves uncertain of it.
type Tone struct {
	OffsetHz, OffsetSigmaHz float64
	Power, PowerSigma       float64 // FS²; 1 is 0 dBFS
}

// Peak finds the highest place from lowHz to highHz, counted like StartHz;
// where that is an edge, it may be the skirt of something outside. It is not ok
// when the band holds nothing of the grid or nothing was measured.
func (f *Fine) Peak(lowHz, highHz float64) (Peak, bool) {
	step := f.StepHz()
	least := math.Max(math.Ceil(lowHz/step)-float64(f.first), 0)
	most := math.Min(math.Floor(highHz/step)-float64(f.first), float64(len(f.sums)-1))
	if !(least <= most) || f.mean.weight == 0 {
		return Peak{}, false
	}
	low, high := int(least), int(most)
	best := low
	for i := low; i <= high; i++ {
		if f.sums[i] > f.sums[best] {
			best = i
		}
	}
	top := f.sums[best]
	if !(top > 0) || math.IsInf(top, 0) {
		return Peak{}, false
	}
	p := Peak{OffsetHz: float64(f.first+best) * step, Density: top / f.mean.weight}
	if best == 0 || best == len(f.sums)-1 {
		return p, true
	}
	// A parabola through the logarithms.
	before, after := math.Log(f.sums[best-1]/top), math.Log(f.sums[best+1]/top)
	bend := before + after
	if !(bend < 0) || math.IsInf(bend, 0) {
		return p, true
	}
	shift := math.Max(-0.5, math.Min(0.5, (before-after)/(2*bend)))
	p.OffsetHz += shift * step
	p.Density *= math.Exp(shift * (after - before) / 4)
	return p, true
}

// Tone turns a peak into the tone that makes it above an even noise density
// (FS²/Hz). The uncertainties are for a peak that stands well out of the
// noise; that of the frequency is then close to the Cramér–Rao bound, within
// the little that the taper costs.
func (f *Fine) Tone(p Peak, noise float64) Tone {
	bandwidth := f.BandwidthHz()
	tone := math.Max(p.Density-noise, 0)
	t := Tone{
		OffsetHz:   p.OffsetHz,
		Power:      tone * bandwidth,
		PowerSigma: bandwidth * math.Sqrt(noise*(2*tone+noise)/f.Averages()),
	}
	t.OffsetSigmaHz = math.Inf(1)
	if tone > 0 {
		t.OffsetSigmaHz = math.Sqrt(noise / t.Power * f.mean.wander / (f.mean.weight * f.mean.weight))
	}
	return t
}
