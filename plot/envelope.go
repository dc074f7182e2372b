package plot

import (
	"math"

	"rooftone/dsp/psd"
)

// column is what a spectrum does within one thin column of a picture, dBFS/Hz.
type column struct {
	hz              float64 // its middle
	low, mean, high float64
}

// envelope reduces a spectrum between two frequencies to columns of about the
// given width, each with the lowest, the mean (of power) and the highest
// density in it, so that a picture's size does not depend on the spectrum's.
// Runs of columns are parted where nothing was measured.
func envelope(s *psd.Spectrum, lowHz, highHz, columnHz float64) [][]column {
	if s == nil || !(s.StepHz > 0) || !(highHz > lowHz) || !(columnHz > 0) {
		return nil
	}
	columnHz = math.Max(columnHz, s.StepHz)
	n := int(math.Ceil((highHz - lowHz) / columnHz))
	var runs [][]column
	open := false
	i := first(s, lowHz)
	for k := range n {
		from, to := lowHz+float64(k)*columnHz, math.Min(highHz, lowHz+float64(k+1)*columnHz)
		c := column{hz: (from + to) / 2, low: math.Inf(1), high: math.Inf(-1)}
		sum, count := 0.0, 0
		for ; i < len(s.Density) && s.At(i) < to; i++ {
			if d := s.Density[i]; d > 0 && !math.IsInf(d, 0) {
				sum += d
				count++
				c.low, c.high = math.Min(c.low, d), math.Max(c.high, d)
			}
		}
		if count == 0 {
			open = false
			continue
		}
		c.low, c.mean, c.high = decibels(c.low), decibels(sum/float64(count)), decibels(c.high)
		if !open {
			runs = append(runs, nil)
			open = true
		}
		runs[len(runs)-1] = append(runs[len(runs)-1], c)
	}
	return runs
}

// first is the index of the first value at or above a frequency.
func first(s *psd.Spectrum, hz float64) int {
	i := math.Ceil((hz - s.StartHz) / s.StepHz)
	if !(i > 0) {
		return 0
	}
	return int(math.Min(i, float64(len(s.Density))))
}

func decibels(power float64) float64 { return 10 * math.Log10(power) }
