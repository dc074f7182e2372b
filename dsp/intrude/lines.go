// Package intrude finds what stands in a spectrum and does not belong there:
// lines, and bands that are higher than what is around them or than what they
// should be.
package intrude

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"

	"rooftone/dsp/psd"
)

const (
	// lobeBins is half of the width of the Blackman-Harris window's main lobe.
	lobeBins = 4

	// Around a line the level is read from sideBins on each side, from gapBins
	// away on. A line that drifts a little stays within the gap.
	gapBins, sideBins = 6, 28

	// coarseBins is the length of the pieces whose medians the first look
	// compares with, and coarseShare what of the threshold it asks for.
	coarseBins, coarseShare = 64, 0.7

	// sharedBins is how many bins of a Blackman-Harris window's spectrum hold
	// one independent value, about.
	sharedBins = 2
)

// noiseBins is the equivalent noise bandwidth of the Blackman-Harris window in
// bins (Harris 1978, table I).
const noiseBins = 2.0044

// Line is a line in a spectrum, with what noise leaves uncertain of it.
type Line struct {
	Hz, SigmaHz       float64
	Power, PowerSigma float64 // FS²; 1 is 0 dBFS
	Around            float64 // density around it, FS²/Hz
	Ratio             float64 // of the density at its peak to what is around it
	Least             float64 // the Ratio that chance has with the probability asked for
	BandwidthHz       float64 // a line of power P stands P/BandwidthHz above what is around it
}

// Lines returns the lines of a spectrum from lowHz to highHz, ascending. The
// spectrum must have been averaged under the Blackman-Harris window, whose side
// lobes lie 92 dB down: a weak line is found five bins beside a strong one.
//
// A line is a bin that exceeds its neighbours and, by a factor that noise has
// with the probability falseAlarm anywhere in the band, the median level on
// either of its sides. So neither a slope nor a step is taken for one. What is
// narrower than some five bins counts as one line; its power is that of the
// whole peak, so that it may wander a little.
//
// A line of power P in an even density N₀, averaged m times, stands r =
// P/(N₀·B) above it, B being two bins. Its power is known to √((2r+1)/m)/r of
// itself, and its frequency to about 0.6 bins/√(r·m).
func Lines(s *psd.Spectrum, lowHz, highHz, falseAlarm float64) ([]Line, error) {
	if !(s.StepHz > 0) || !(s.Averages >= 1) || !(falseAlarm > 0 && falseAlarm < 1) {
		return nil, errors.New("looking for lines: not a measured spectrum, or no probability of false alarm")
	}
	first := max(gapBins+sideBins, int(math.Ceil((lowHz-s.StartHz)/s.StepHz)))
	last := min(len(s.Density)-1-gapBins-sideBins, int(math.Floor((highHz-s.StartHz)/s.StepHz)))
	if first > last {
		return nil, nil
	}
	least := exceeds(s.Averages, falseAlarm/float64(last-first+1))
	d := s.Density
	level := levels(d, first, last)
	scale := medianShare(s.Averages)
	var out []Line
	var work [sideBins]float64
	for i := first; i <= last; i++ {
		if v := d[i]; !(v > level[(i-first)/coarseBins]/scale*least*coarseShare) || v < d[i-1] || v <= d[i+1] {
			continue
		}
		below := medianOf(work[:], d[i-gapBins-sideBins+1:i-gapBins+1]) / scale
		above := medianOf(work[:], d[i+gapBins:i+gapBins+sideBins]) / scale
		// The level's own scatter widens what is asked for.
		sure := 1 + 3*1.25/math.Sqrt(s.Averages*sideBins/sharedBins)
		if r := d[i] / math.Max(below, above); !(r > least*sure) {
			continue
		}
		if l, ok := lineAt(s, i, (below+above)/2); ok {
			l.Least, l.BandwidthHz = least*sure, noiseBins*s.StepHz
			out = append(out, l)
		}
	}
	return strongestApart(out, lobeBins*s.StepHz), nil
}

// exceeds is the ratio to its mean that an average of m exponential variables
// has with a probability p.
func exceeds(m, p float64) float64 {
	// Overlapping segments make the far tail a little heavier than that of a
	// gamma variable of the same variance.
	const heavier = 1.1
	low, high := 1.0, 2.0
	for mathext.GammaIncRegComp(m, m*high) > p {
		low, high = high, 2*high
	}
	for high-low > 1e-4*high {
		if mid := (low + high) / 2; mathext.GammaIncRegComp(m, m*mid) > p {
			low = mid
		} else {
			high = mid
		}
	}
	return heavier * high
}

// levels is the median of every piece of the band.
func levels(d []float64, first, last int) []float64 {
	var out []float64
	var work [coarseBins]float64
	for from := first; from <= last; from += coarseBins {
		to := min(len(d), from+coarseBins)
		from := max(0, to-coarseBins)
		out = append(out, medianOf(work[:to-from], d[from:to]))
	}
	return out
}

// medianOf is the median of x, NaN if any of it is; work is as long.
func medianOf(work, x []float64) float64 {
	copy(work, x)
	slices.Sort(work)
	if math.IsNaN(work[0]) {
		return math.NaN()
	}
	return (work[(len(work)-1)/2] + work[len(work)/2]) / 2
}

// medianShare is the median over the mean of an average of m exponential
// variables (Wilson and Hilferty 1931).
func medianShare(m float64) float64 {
	x := 1 - 1/(9*m)
	return x * x * x
}

// lineAt measures the line whose highest bin is i.
func lineAt(s *psd.Spectrum, i int, around float64) (Line, bool) {
	d := s.Density
	peak := d[i] - around
	sum := peak
	for _, side := range [2]int{-1, 1} {
		// Where it rises again the foot of another line begins.
		for k := 1; k <= lobeBins && d[i+side*k] < d[i+side*(k-1)]; k++ {
			sum += d[i+side*k] - around
		}
	}
	if !(sum > 0 && peak > 0) {
		return Line{}, false
	}
	// The interpolated peak is the better measure of a steady line, the whole
	// of the lobe that of one that moved.
	shift := summit(math.Log(d[i-1]), math.Log(d[i]), math.Log(d[i+1]))
	steady := peak * math.Exp(shift*(math.Log(d[i+1])-math.Log(d[i-1]))/4) * noiseBins
	power := steady
	if moved := sum * 0.98; moved > 1.25*steady {
		power = moved
	}
	r := power / noiseBins / around
	return Line{
		Hz:         s.At(i) + shift*s.StepHz,
		SigmaHz:    0.6 * s.StepHz / math.Sqrt(r*s.Averages),
		Power:      power * s.StepHz,
		PowerSigma: power * s.StepHz * math.Sqrt((2*r+1)/s.Averages) / r,
		Around:     around,
		Ratio:      d[i] / around,
	}, true
}

// summit is where, from the middle of three equally spaced values, the parabola
// through them has its highest place.
func summit(a, b, c float64) float64 {
	if bend := a - 2*b + c; bend < 0 {
		return max(-0.5, min(0.5, (a-c)/(2*bend)))
	}
	return 0
}

// strongestApart drops lines that stand on a stronger one's foot.
func strongestApart(lines []Line, apartHz float64) []Line {
	var out []Line
	for i, l := range lines {
		keep := true
		for k, o := range lines {
			if k != i && math.Abs(o.Hz-l.Hz) < apartHz && o.Power > l.Power {
				keep = false
			}
		}
		if keep {
			out = append(out, l)
		}
	}
	return out
}
