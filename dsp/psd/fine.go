package psd

import (
	"errors"
	"slices"
)

// Fine is what a Zoom has measured: the power density of a narrow piece of a
// slice, and what is needed to tell a tone in it from noise. The zero Fine
// holds nothing.
type Fine struct {
	stepHz  float64
	cellHz  float64
	wholeHz float64 // equivalent noise bandwidth of a whole block

	first int       // the grid's first value is at first·stepHz
	sums  []float64 // Σ weight · density
	mean  shape     // weighted as noted there
}

// Clone returns a Fine that does not change when the Zoom goes on.
func (f *Fine) Clone() *Fine {
	c := *f
	c.sums = slices.Clone(f.sums)
	return &c
}

// Merge takes in what another Zoom of the same kind measured, as if it had been
// heard by this one after a Flush. It is an error when the two have unlike
// grids or blocks.
func (f *Fine) Merge(o *Fine) error {
	if f.stepHz != o.stepHz || f.first != o.first || len(f.sums) != len(o.sums) || f.wholeHz != o.wholeHz {
		return errors.New("merging fine spectra: their grids differ")
	}
	for i, s := range o.sums {
		f.sums[i] += s
	}
	f.mean.weight += o.mean.weight
	f.mean.weight2 += o.mean.weight2
	f.mean.sharpness += o.mean.sharpness
	f.mean.neighbour += o.mean.neighbour
	f.mean.wander += o.mean.wander
	return nil
}

// StepHz is the distance between values of Density: a quarter or less of what
// the blocks resolve. The values stand at multiples of it.
func (f *Fine) StepHz() float64 { return f.stepHz }

// StartHz is the frequency of the first value of Density, counted from the
// middle of the samples' band.
func (f *Fine) StartHz() float64 { return float64(f.first) * f.StepHz() }

// Density writes the power density in FS²/Hz to dst, which is made when it is
// too short, and returns it. All values are NaN before there was a block.
func (f *Fine) Density(dst []float64) []float64 {
	if len(dst) < len(f.sums) {
		dst = make([]float64, len(f.sums))
	}
	dst = dst[:len(f.sums)]
	for i, s := range f.sums {
		dst[i] = s / f.mean.weight
	}
	return dst
}

// Averages is the number of independent averages behind each value of
// Density: the number of blocks, partial ones counting for less.
func (f *Fine) Averages() float64 {
	if f.mean.weight == 0 {
		return 0
	}
	return f.mean.weight * f.mean.weight / f.mean.weight2
}

// BandwidthHz is the equivalent noise bandwidth: a tone of power P raises the
// density at its frequency by P/BandwidthHz. That of a whole block until there
// was another.
func (f *Fine) BandwidthHz() float64 {
	if f.mean.weight == 0 {
		return f.wholeHz
	}
	return f.mean.weight / f.mean.sharpness
}

// CellHz is the bandwidth of one independent value: noise averaged over B Hz
// of the density has a variance of its square times CellHz/(B·Averages).
func (f *Fine) CellHz() float64 { return f.cellHz }

// Spectrum writes what was measured, with the samples' middle at centerHz, to
// s, whose memory it uses.
func (f *Fine) Spectrum(s *Spectrum, centerHz float64) {
	s.StartHz, s.StepHz = centerHz+f.StartHz(), f.StepHz()
	s.Density = f.Density(s.Density)
	s.Averages, s.CellHz = f.Averages(), f.CellHz()
}
