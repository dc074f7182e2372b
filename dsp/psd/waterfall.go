package psd

import (
	"errors"
	"fmt"
	"math"
)

// Waterfall keeps power density against time and frequency. Its memory does not
// grow: when its rows are full, neighbouring ones are averaged, so that each
// stands for twice the time from then on. It is used by one goroutine. It
// allocates nothing after it was made.
type Waterfall struct {
	rateHz float64
	n, hop int
	window []float32
	scale  float64 // from a segment's power to density
	fft    *FFT

	segment []complex64
	carried []complex64
	row     []float64 // sum of the row being filled
	inRow   int       // segments in it
	perRow  int       // segments of a whole row

	rows [][]float32 // all there may be
	full int         // how many are filled
}

// NewWaterfall makes a Waterfall for samples at rateHz with segments of n, a
// power of two from 16 to 2^16, half overlapped under window w, that keeps at
// most the given number of rows, an even one from 2 to 2^16.
func NewWaterfall(rateHz float64, n int, w Window, rows int) (*Waterfall, error) {
	switch {
	case !(rateHz > 0) || math.IsInf(rateHz, 0):
		return nil, fmt.Errorf("making a waterfall: rate %v Hz", rateHz)
	case n < 16 || n > 1<<16 || n&(n-1) != 0:
		return nil, fmt.Errorf("making a waterfall: segments of %d: must be a power of two from 16 to %d", n, 1<<16)
	case rows < 2 || rows > 1<<16 || rows%2 != 0:
		return nil, fmt.Errorf("making a waterfall: %d rows: must be an even number from 2 to %d", rows, 1<<16)
	case !w.valid():
		return nil, fmt.Errorf("making a waterfall: no such window: %v", w)
	case n*rows > 1<<26:
		return nil, errors.New("making a waterfall: it would take more than 256 MB")
	}
	fft, err := NewFFT(n)
	if err != nil {
		return nil, fmt.Errorf("making a waterfall: %w", err)
	}
	out := &Waterfall{
		rateHz: rateHz, n: n, hop: n / 2, fft: fft,
		window:  make([]float32, n),
		segment: make([]complex64, n),
		carried: make([]complex64, 0, n),
		row:     make([]float64, n),
		perRow:  1,
		rows:    make([][]float32, rows),
	}
	var squares float64
	for i, v := range w.Samples(n) {
		out.window[i] = float32(v)
		squares += v * v
	}
	out.scale = 1 / (squares * rateHz)
	all := make([]float32, n*rows)
	for i := range out.rows {
		out.rows[i] = all[i*n : (i+1)*n]
	}
	return out, nil
}

// Write takes the samples that follow the last ones. The result does not
// depend on how a run of samples is divided among calls.
func (w *Waterfall) Write(x []complex64) {
	for len(x) > 0 {
		k := min(len(x), w.n-len(w.carried))
		w.carried = append(w.carried, x[:k]...)
		x = x[k:]
		if len(w.carried) == w.n {
			w.add()
			w.carried = w.carried[:copy(w.carried, w.carried[w.hop:])]
		}
	}
}

// add takes the segment that is carried.
func (w *Waterfall) add() {
	for i, v := range w.carried {
		g := w.window[i]
		w.segment[i] = complex(real(v)*g, imag(v)*g)
	}
	w.fft.transform(w.segment, w.segment, false)
	for i, v := range w.segment {
		re, im := float64(real(v)), float64(imag(v))
		w.row[(i+w.hop)%w.n] += re*re + im*im
	}
	if w.inRow++; w.inRow < w.perRow {
		return
	}
	if w.full == len(w.rows) {
		w.halve()
		if w.inRow < w.perRow {
			return
		}
	}
	for i, v := range w.row {
		w.rows[w.full][i] = float32(v * w.scale / float64(w.inRow))
	}
	clear(w.row)
	w.full++
	w.inRow = 0
}

// halve averages neighbouring rows.
func (w *Waterfall) halve() {
	for i := range w.full / 2 {
		a, b := w.rows[2*i], w.rows[2*i+1]
		for k := range w.rows[i] {
			w.rows[i][k] = (a[k] + b[k]) / 2
		}
	}
	w.full /= 2
	w.perRow *= 2
}

// Rows is how many rows are filled.
func (w *Waterfall) Rows() int { return w.full }

// Row is the power density in FS²/Hz of row i, the first the oldest: n values
// from −rate/2 up in steps of rate/n. It is the Waterfall's own memory, good
// until the next Write.
func (w *Waterfall) Row(i int) []float32 { return w.rows[i] }

// RowSeconds is the time from one row to the next.
func (w *Waterfall) RowSeconds() float64 { return float64(w.perRow*w.hop) / w.rateHz }

// StepHz is the distance between a row's values.
func (w *Waterfall) StepHz() float64 { return w.rateHz / float64(w.n) }

// StartHz is the frequency of a row's first value.
func (w *Waterfall) StartHz() float64 { return -w.rateHz / 2 }

// Reset forgets all samples.
func (w *Waterfall) Reset() {
	w.carried = w.carried[:0]
	clear(w.row)
	w.inRow, w.perRow, w.full = 0, 1, 0
}
