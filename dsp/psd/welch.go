package psd

import (
	"fmt"
	"math"
)

// Welch averages the periodograms of windowed segments that overlap by half:
// P. D. Welch, "The use of fast Fourier transform for the estimation of power
// spectra", IEEE Trans. Audio Electroacoust. AU-15 (1967). It is used by one
// goroutine. It allocates nothing after it was made.
type Welch struct {
	rateHz float64
	n, hop int
	adder  powerAdder

	scale   float64 // from a sum of powers over one segment to density
	overlap float64 // correlation of neighbouring segments in one bin, as power

	// cell is the correlation of a segment with itself, and neighbour with the
	// next one, summed over all bins.
	cell, neighbour float64

	// carried holds the samples that later segments still need. Segments are
	// worked off by eight, so that every one has its fixed place whatever the
	// pieces that the samples come in.
	carried []complex64
	count   float64 // segments worked off
	pairs   float64 // of them, those that follow another without a break
	follows bool    // the next segment follows one that was worked off
}

// powerAdder adds up the power spectra of segments.
type powerAdder interface {
	// add takes eight segments, each hop after the last.
	add(src []complex64)
	// addSome takes the first k of eight; src still has the length for eight.
	addSome(src []complex64, k int)
	// total writes the sums so far to dst, with those of the first k of eight
	// segments in src that are not added yet.
	total(dst []float64, src []complex64, k int)
	reset()
}

// NewWelch makes an estimator for samples at rateHz with segments of n, a
// power of two from 16 to 2^20, half overlapped under window w.
func NewWelch(rateHz float64, n int, w Window) (*Welch, error) {
	return newWelch(rateHz, n, w, haveLanes())
}

// newWelch lets the tests choose the code.
func newWelch(rateHz float64, n int, w Window, kernels bool) (*Welch, error) {
	if !(rateHz > 0) || math.IsInf(rateHz, 0) {
		return nil, fmt.Errorf("making a spectrum estimator: rate %v Hz", rateHz)
	}
	if n < 16 || n > 1<<20 || n&(n-1) != 0 {
		return nil, fmt.Errorf("making a spectrum estimator: segments of %d: must be a power of two from 16 to %d", n, 1<<20)
	}
	if !w.valid() {
		return nil, fmt.Errorf("making a spectrum estimator: no such window: %v", w)
	}
	v := w.Samples(n)
	squares := 0.0
	for _, x := range v {
		squares += x * x
	}
	welch := &Welch{
		rateHz: rateHz, n: n, hop: n / 2,
		scale:   1 / (squares * rateHz),
		overlap: overlapCorrelation(v, n/2),
		cell:    cellBins(v, 0), neighbour: cellBins(v, n/2),
		carried: make([]complex64, 0, (lanes+1)*n/2),
	}
	var err error
	if welch.adder, err = newPowerAdder(v, welch.hop, kernels); err != nil {
		return nil, fmt.Errorf("making a spectrum estimator: %w", err)
	}
	return welch, nil
}

// Write takes the samples that follow the last ones. The result does not
// depend on how a run of samples is divided among calls.
func (w *Welch) Write(x []complex64) {
	full := cap(w.carried)
	for {
		if len(w.carried) == 0 && len(x) >= full {
			w.work(x[:full])
			x = x[full-w.hop:]
			continue
		}
		m := min(len(x), full-len(w.carried))
		w.carried = append(w.carried, x[:m]...)
		if len(w.carried) < full {
			return
		}
		w.work(w.carried)
		if m >= w.hop {
			// What is still needed lies in x: go on from there.
			w.carried = w.carried[:0]
			x = x[m-w.hop:]
			continue
		}
		w.carried = w.carried[:copy(w.carried, w.carried[full-w.hop:])]
		x = x[m:]
	}
}

// work takes eight segments.
func (w *Welch) work(x []complex64) {
	w.adder.add(x)
	w.count, w.pairs = w.with(lanes)
	w.follows = true
}

// with is the number of segments, and of neighbours among them, with k more.
func (w *Welch) with(k int) (count, pairs float64) {
	count, pairs = w.count+float64(k), w.pairs+float64(k)
	if k > 0 && !w.follows {
		pairs--
	}
	return count, pairs
}

// waiting is the number of whole segments carried.
func (w *Welch) waiting() int { return max(0, len(w.carried)/w.hop-1) }

// Flush says that the samples to come do not follow the last ones: no segment
// will reach across. Samples that do not fill a segment are lost.
func (w *Welch) Flush() {
	if k := w.waiting(); k > 0 {
		w.adder.addSome(w.carried[:cap(w.carried)], k)
		w.count, w.pairs = w.with(k)
	}
	w.carried = w.carried[:0]
	w.follows = false
}

// Reset forgets all samples.
func (w *Welch) Reset() {
	w.carried = w.carried[:0]
	w.follows = false
	w.count, w.pairs = 0, 0
	w.adder.reset()
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
	k := w.waiting()
	w.adder.total(dst, w.carried[:cap(w.carried)], k)
	count, _ := w.with(k)
	scale := w.scale / count
	if count == 0 {
		scale = math.NaN()
	}
	low, high := dst[:w.hop], dst[w.hop:]
	for i := range low {
		low[i], high[i] = high[i]*scale, low[i]*scale
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
	count, pairs := w.with(w.waiting())
	if count == 0 {
		return 0
	}
	return count * count / (count + 2*pairs*w.overlap)
}

// CellHz is the bandwidth of one independent value: noise averaged over B Hz
// of the density has a variance of its square times CellHz/(B·Averages).
func (w *Welch) CellHz() float64 {
	count, pairs := w.with(w.waiting())
	if count == 0 {
		return w.StepHz()
	}
	return w.StepHz() * (count*w.cell + 2*pairs*w.neighbour) / (count + 2*pairs*w.overlap)
}

// Spectrum writes what was measured, with the samples' middle at centerHz, to
// s, whose memory it uses.
func (w *Welch) Spectrum(s *Spectrum, centerHz float64) {
	s.StartHz, s.StepHz = centerHz+w.StartHz(), w.StepHz()
	s.Density = w.Density(s.Density)
	s.Averages, s.CellHz = w.Averages(), w.CellHz()
}
