package psd

import (
	"fmt"
	"math"
)

// Welch averages the periodograms of windowed segments that overlap by half:
// P. D. Welch, "The use of fast Fourier transform for the estimation of power
// spectra", IEEE Trans. Audio Electroacoust. AU-15 (1967). It is used by one
// goroutine.
type Welch struct {
	rateHz float64
	n, hop int
	window []float32
	scale  float64 // from sums of |X|² to density, per segment

	overlap float64 // correlation of neighbouring segments, as power
	cellHz  float64

	fft     *FFT
	carried []complex64 // the samples that a later segment still needs
	segment []complex64
	sums    []float64 // in the order of the transform
	count   float64   // segments in sums
	pairs   float64   // of them, those that follow another without a break
	run     float64   // segments since the last break
}

// NewWelch makes an estimator for samples at rateHz with segments of n, a
// power of two from 16 to 2^20, half overlapped under window w.
func NewWelch(rateHz float64, n int, w Window) (*Welch, error) {
	if !(rateHz > 0) || math.IsInf(rateHz, 0) {
		return nil, fmt.Errorf("making a spectrum estimator: rate %v Hz", rateHz)
	}
	if n < 16 || n > 1<<20 || n&(n-1) != 0 {
		return nil, fmt.Errorf("making a spectrum estimator: segments of %d: must be a power of two from 16 to %d", n, 1<<20)
	}
	if !w.valid() {
		return nil, fmt.Errorf("making a spectrum estimator: no such window: %v", w)
	}
	fft, err := NewFFT(n)
	if err != nil {
		return nil, fmt.Errorf("making a spectrum estimator: %w", err)
	}
	v := w.Samples(n)
	welch := &Welch{
		rateHz: rateHz, n: n, hop: n / 2,
		window:  make([]float32, n),
		overlap: overlapCorrelation(v, n/2),
		fft:     fft,
		carried: make([]complex64, 0, n),
		segment: make([]complex64, n),
		sums:    make([]float64, n),
	}
	squares := 0.0
	for i, x := range v {
		welch.window[i] = float32(x)
		squares += x * x
	}
	welch.scale = 1 / (squares * rateHz)
	welch.cellHz = rateHz / float64(n) * cellBins(v)
	return welch, nil
}

// cellBins is how many bins share the noise of one independent value: the
// correlation between bins summed over all of them, n Σw⁴ / (Σw²)².
func cellBins(v []float64) float64 {
	var two, four float64
	for _, x := range v {
		x *= x
		two += x
		four += x * x
	}
	return float64(len(v)) * four / (two * two)
}

// Write takes the samples that follow the last ones. The result does not
// depend on how a run of samples is divided among calls.
func (w *Welch) Write(x []complex64) {
	for len(x) > 0 {
		m := min(len(x), w.n-len(w.carried))
		w.carried = append(w.carried, x[:m]...)
		x = x[m:]
		if len(w.carried) < w.n {
			return
		}
		w.add(w.carried)
		copy(w.carried, w.carried[w.hop:])
		w.carried = w.carried[:w.n-w.hop]
	}
}

func (w *Welch) add(x []complex64) {
	for i, v := range x {
		g := w.window[i]
		w.segment[i] = complex(real(v)*g, imag(v)*g)
	}
	w.fft.transform(w.segment, w.segment, false)
	for k, v := range w.segment {
		w.sums[k] += float64(real(v)*real(v) + imag(v)*imag(v))
	}
	w.count++
	if w.run > 0 {
		w.pairs++
	}
	w.run++
}

// Flush says that the samples to come do not follow the last ones: no segment
// will reach across. Samples that do not fill a segment are lost.
func (w *Welch) Flush() {
	w.carried = w.carried[:0]
	w.run = 0
}

// Reset forgets all samples.
func (w *Welch) Reset() {
	w.Flush()
	clear(w.sums)
	w.count, w.pairs = 0, 0
}

// Density writes the power density in FS²/Hz to dst, which is made when it is
// shorter than n, and returns it: n values from −rate/2 up in steps of rate/n.
// White noise of variance σ² (both parts together) has density σ²/rate. All
// are NaN before there was a whole segment.
func (w *Welch) Density(dst []float64) []float64 {
	if len(dst) < w.n {
		dst = make([]float64, w.n)
	}
	dst = dst[:w.n]
	for i := range dst {
		dst[i] = w.sums[(i+w.n/2)%w.n] / w.count * w.scale
	}
	return dst
}

// StepHz is the distance between values of Density.
func (w *Welch) StepHz() float64 { return w.rateHz / float64(w.n) }

// StartHz is the frequency of the first value of Density.
func (w *Welch) StartHz() float64 { return -w.rateHz / 2 }

// Averages is the effective number of independent averages behind each value
// of Density: its variance is its square over this. It is less than the number
// of segments since those overlap.
func (w *Welch) Averages() float64 {
	if w.count == 0 {
		return 0
	}
	return w.count * w.count / (w.count + 2*w.pairs*w.overlap)
}

// Spectrum returns what was measured as a Spectrum around centerHz. It
// reuses the memory of s.
func (w *Welch) Spectrum(s *Spectrum, centerHz float64) {
	s.StartHz, s.StepHz = centerHz+w.StartHz(), w.StepHz()
	s.Density = w.Density(s.Density)
	s.Averages, s.CellHz = w.Averages(), w.cellHz
}
