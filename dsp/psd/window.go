package psd

import (
	"fmt"
	"math"
)

// Window is a taper laid over a segment before its transform.
//
// The windows are those of Harris, "On the use of windows for harmonic
// analysis with the discrete Fourier transform", Proc. IEEE 66 (1978), in
// their periodic form: n values of a window of period n, which is what a
// segment of a discrete Fourier transform of length n wants.
type Window int

// The windows there are. Levels are of the highest side lobe.
const (
	// Hann is ½ − ½ cos(2πi/n): −31 dB, falling by 18 dB an octave.
	Hann Window = iota
	// BlackmanHarris is the minimum four-term window: −92 dB. It is the one
	// to use beside a signal that is far stronger.
	BlackmanHarris
	// Rectangular is 1: −13 dB, falling by 6 dB an octave.
	Rectangular
	// Tukey is flat with a tenth of its length rounded by a half cosine at
	// either end: −13 dB near by, but falling by 18 dB an octave farther out.
	// It costs little of a tone's power against noise.
	Tukey
)

// tukeyTaper is the part of a Tukey window, both ends together, that is not
// flat.
const tukeyTaper = 0.2

// String names the window.
func (w Window) String() string {
	switch w {
	case Hann:
		return "Hann"
	case BlackmanHarris:
		return "Blackman-Harris"
	case Rectangular:
		return "rectangular"
	case Tukey:
		return "Tukey"
	}
	return fmt.Sprintf("Window(%d)", int(w))
}

func (w Window) valid() bool { return w >= Hann && w <= Tukey }

// cosines returns a of Σ (−1)^k a[k] cos(2πki/n), nil for a window that is not
// such a sum.
func (w Window) cosines() []float64 {
	switch w {
	case Hann:
		return []float64{0.5, 0.5}
	case BlackmanHarris:
		return []float64{0.35875, 0.48829, 0.14128, 0.01168}
	case Rectangular:
		return []float64{1}
	}
	return nil
}

// Samples returns the window's n values, the greatest of them 1. It is empty
// for n < 1 or a window that is none of the above.
func (w Window) Samples(n int) []float64 {
	if n < 1 || !w.valid() {
		return nil
	}
	v := make([]float64, n)
	for i := range v {
		v[i] = w.at(i, n)
	}
	return v
}

// at is value i of the window's n.
func (w Window) at(i, n int) float64 {
	a := w.cosines()
	if a == nil {
		return tukey(float64(i) / float64(n))
	}
	v, sign := 0.0, 1.0
	for k, ak := range a {
		v += sign * ak * math.Cos(2*math.Pi*float64(k*i%n)/float64(n))
		sign = -sign
	}
	return v
}

// tukey is the Tukey window's value at x of its length, 0 ≤ x < 1.
func tukey(x float64) float64 {
	x = math.Min(x, 1-x)
	if x >= tukeyTaper/2 {
		return 1
	}
	return 0.5 - 0.5*math.Cos(2*math.Pi*x/tukeyTaper)
}

// CoherentGain is the mean of the window's n values: the amplitude that a tone
// in the middle of a bin keeps.
func (w Window) CoherentGain(n int) float64 {
	sum := 0.0
	v := w.Samples(n)
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// ENBW is the equivalent noise bandwidth of n values in bins of rate/n Hz:
// n Σw² / (Σw)².
func (w Window) ENBW(n int) float64 {
	var sum, squares float64
	v := w.Samples(n)
	for _, x := range v {
		sum += x
		squares += x * x
	}
	return float64(len(v)) * squares / (sum * sum)
}

// overlapCorrelation is the correlation, as power, between the noise in a bin
// of one segment and that in the same bin of a segment that begins hop samples
// later: (Σ w[i] w[i+hop] / Σ w²)². P. D. Welch, IEEE Trans. Audio
// Electroacoust. AU-15 (1967).
func overlapCorrelation(v []float64, hop int) float64 {
	var cross, squares float64
	for i, x := range v {
		squares += x * x
		if i+hop < len(v) {
			cross += x * v[i+hop]
		}
	}
	return (cross / squares) * (cross / squares)
}

// cellBins is the correlation, as power, between the noise in a bin of one
// segment and that in the bins of a segment that begins hop samples later,
// summed over all bins: n Σ w²[i] w²[i+hop] / (Σ w²)². With hop 0 it is how
// many bins of a segment share the noise of one independent value.
func cellBins(v []float64, hop int) float64 {
	var cross, squares float64
	for i, x := range v {
		squares += x * x
		if i+hop < len(v) {
			cross += x * x * v[i+hop] * v[i+hop]
		}
	}
	return float64(len(v)) * cross / (squares * squares)
}

// binCorrelation is the correlation, as power, between the noise at one
// frequency and that lag/len(v) cycles per sample away, in one segment:
// |Σ w² e^{−j2π·lag·i/n}|² / (Σ w²)².
func binCorrelation(v []float64, lag float64) float64 {
	var re, im, squares float64
	for i, x := range v {
		sin, cos := math.Sincos(2 * math.Pi * lag * float64(i) / float64(len(v)))
		x *= x
		squares += x
		re += x * cos
		im += x * sin
	}
	return (re*re + im*im) / (squares * squares)
}
