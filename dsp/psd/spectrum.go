package psd

import "math"

// Spectrum is power density on a uniform grid of frequencies.
type Spectrum struct {
	StartHz  float64   // frequency of Density[0]
	StepHz   float64   // from one value to the next
	Density  []float64 // FS²/Hz, linear; NaN where not measured
	Averages float64   // independent averages behind each value: its σ is value/√Averages
	CellHz   float64   // bandwidth of one independent value; 0 when neighbours are independent
}

// At is the frequency of Density[i] in Hz.
func (s *Spectrum) At(i int) float64 { return s.StartHz + float64(i)*s.StepHz }

// Power integrates the density from lowHz to highHz; the result is in FS². A
// value stands for the step around its frequency, and a step that is only
// partly asked for counts in part. It is not ok when any of it was not
// measured or lies outside the grid, or when highHz is not above lowHz.
func (s *Spectrum) Power(lowHz, highHz float64) (power float64, ok bool) {
	if !(s.StepHz > 0) || !(highHz > lowHz) {
		return math.NaN(), false
	}
	low := (lowHz-s.StartHz)/s.StepHz + 0.5
	high := (highHz-s.StartHz)/s.StepHz + 0.5
	// A hair of tolerance, so that edges that fall together but for rounding
	// do not push a band off the grid.
	const hair = 1e-6
	if !(low >= -hair) || !(high <= float64(len(s.Density))+hair) {
		return math.NaN(), false
	}
	low, high = math.Max(low, 0), math.Min(high, float64(len(s.Density)))
	for i := int(low); i < len(s.Density) && float64(i) < high; i++ {
		part := math.Min(high, float64(i+1)) - math.Max(low, float64(i))
		if part <= hair && high-low > 2*hair {
			continue
		}
		if math.IsNaN(s.Density[i]) {
			return math.NaN(), false
		}
		power += part * s.Density[i]
	}
	return power * s.StepHz, true
}

// Uncertainty is the relative standard uncertainty that noise leaves in
// Power(lowHz, highHz) where the density is about even: one over the root of
// the independent values averaged, never fewer than those of a single bin.
func (s *Spectrum) Uncertainty(lowHz, highHz float64) float64 {
	cells := (highHz - lowHz) / math.Max(s.CellHz, s.StepHz)
	return 1 / math.Sqrt(s.Averages*math.Max(cells, 1))
}
