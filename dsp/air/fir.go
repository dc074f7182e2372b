package air

import "math"

// FIR is a short filter with complex taps, y[n] = Σ taps[k]·x[n−k]. It
// remembers the samples before each call; before the first they are 0.
type FIR struct {
	taps    []complex64
	history []complex64 // the last len(taps)−1 inputs, oldest first
}

// NewFIR returns a filter with the given taps.
func NewFIR(taps []complex64) *FIR {
	return &FIR{taps: append([]complex64(nil), taps...), history: make([]complex64, 2*max(len(taps)-1, 0))}
}

// Apply filters x in place.
func (f *FIR) Apply(x []complex64) {
	keep := len(f.taps) - 1
	if keep < 1 || len(x) == 0 {
		for k := range x {
			if keep == 0 {
				x[k] *= f.taps[0]
			}
		}
		return
	}
	// From the end, so that inputs are still there when they are needed. The
	// first outputs reach back into the history, for which the inputs that
	// the next call needs are saved first.
	past, next := f.history[:keep], f.history[keep:]
	for k := range next {
		if i := len(x) - keep + k; i >= 0 {
			next[k] = x[i]
		} else {
			next[k] = past[keep+i]
		}
	}
	for n := len(x) - 1; n >= keep; n-- {
		var re, im float32
		for k, h := range f.taps {
			z := x[n-k]
			re += real(h)*real(z) - imag(h)*imag(z)
			im += real(h)*imag(z) + imag(h)*real(z)
		}
		x[n] = complex(re, im)
	}
	for n := min(keep, len(x)) - 1; n >= 0; n-- {
		var y complex64
		for k, h := range f.taps {
			if n-k >= 0 {
				y += h * x[n-k]
			} else {
				y += h * past[keep+n-k]
			}
		}
		x[n] = y
	}
	copy(past, next)
}

// Reset forgets the samples before.
func (f *FIR) Reset() { clear(f.history) }

// Response is the filter's response, apart from its delay of (len(taps)−1)/2
// samples, at a frequency in cycles per sample.
func (f *FIR) Response(cyclesPerSample float64) complex128 {
	var sum complex128
	middle := float64(len(f.taps)-1) / 2
	for k, h := range f.taps {
		sum += complex128(h) * turns(-cyclesPerSample*(float64(k)-middle))
	}
	return sum
}

// PassBandEdge is where PassBand's droop is stated, in cycles per sample:
// 1.05 MHz of 2.4 MS/s.
const PassBandEdge = 0.4375

// PassBand returns the taps of a radio's pass band: flat in the middle and
// falling towards the edges, where at ±PassBandEdge it is down by droopDB, and
// leaning by tiltDB from −1/4 to +1/4 cycles per sample. In amplitude it is
//
//	H(ω) = 1 − d·sin⁴(ω/2) + e·sin ω
//
// with a delay of two samples.
func PassBand(droopDB, tiltDB float64) []complex64 {
	edge := math.Sin(math.Pi * PassBandEdge)
	d := (1 - Amplitude(-droopDB)) / (edge * edge * edge * edge)
	// At ±1/4, sin⁴ is 1/4: (1 − d/4 + e) / (1 − d/4 − e) is the tilt.
	r := Amplitude(tiltDB)
	e := (1 - d/4) * (r - 1) / (r + 1)
	// sin⁴(ω/2) = 3/8 − cos(ω)/2 + cos(2ω)/8.
	side := float32(d / 4)
	far := float32(-d / 16)
	lean := float32(e / 2)
	// sin ω = (e^{jω} − e^{−jω}) / 2j; the tap before the middle advances.
	return []complex64{
		complex(far, 0), complex(side, -lean), complex(float32(1-3*d/8), 0), complex(side, lean), complex(far, 0),
	}
}
