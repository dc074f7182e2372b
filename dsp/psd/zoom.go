package psd

import (
	"fmt"
	"math"
	"math/bits"
)

// zoomPad is how many times longer than the block a zoom's transform is at
// least. At four the grid misses at most 0.22 dB of a tone between two values,
// and the interpolated peak next to nothing.
const zoomPad = 4

// maxFactor is the most that a zoom decimates by; its filter then has some
// 200 000 taps.
const maxFactor = 1 << 14

// zoomTaper is laid over a zoom's blocks.
const zoomTaper = Tukey

// Zoom measures the power density of a narrow piece of what a tuner delivers
// with the resolution that blocks of a stated duration give: band-pass filter
// and decimation, then zero-padded transforms of tapered blocks that follow
// each other without overlap, averaged as power. The filter keeps what would
// fall into the span 100 dB down; its own response is divided out. Zoom is used by
// one goroutine. It allocates nothing after it was made.
// What was measured so far is read with the methods of Fine.
type Zoom struct {
	rateHz float64 // after decimation
	filter *decimator
	zeros  []complex64 // what Flush sends after the last sample

	block  []complex64 // decimated samples of the block being filled
	taper  []float64   // of a whole block
	whole  shape
	short  []float64 // scratch: the taper of a partial block
	fft    *FFT
	padded []complex64

	gain []float64 // 1 / |filter|² at each value of the grid

	Fine // what was measured so far
}

// shape is what a taper does to a tone and to noise. Blocks are weighted by
// their length, a whole one by 1; of several the sums are kept that are noted.
type shape struct {
	weight    float64 // Σ weight
	weight2   float64 // Σ weight²
	sharpness float64 // 1 / equivalent noise bandwidth, Hz⁻¹; Σ weight·
	neighbour float64 // correlation, as power, of noise on neighbouring values; Σ weight²·
	wander    float64 // variance of a tone's frequency × P/N₀, Hz³; Σ weight²·
}

func (s *shape) add(b shape) {
	s.weight += b.weight
	s.weight2 += b.weight2
	s.sharpness += b.weight * b.sharpness
	s.neighbour += b.weight2 * b.neighbour
	s.wander += b.weight2 * b.wander
}

// NewZoom makes an estimator for the spanHz around offsetHz, half on either
// side, of samples at rateHz, with blocks of the given duration in seconds.
// The offset counts from the middle of the samples' band.
func NewZoom(rateHz, offsetHz, spanHz, duration float64) (*Zoom, error) {
	return newZoom(rateHz, offsetHz, spanHz, duration, haveLanes())
}

// newZoom lets the tests choose the code.
func newZoom(rateHz, offsetHz, spanHz, duration float64, kernels bool) (*Zoom, error) {
	if !(rateHz > 0) || math.IsInf(rateHz, 0) {
		return nil, fmt.Errorf("making a zoom: rate %v Hz", rateHz)
	}
	if !(spanHz > 0) || !(math.Abs(offsetHz)+spanHz/2 <= rateHz/2) {
		return nil, fmt.Errorf("making a zoom: %v Hz around %v Hz is not inside ±%v Hz", spanHz, offsetHz, rateHz/2)
	}
	if !(duration*spanHz >= 16) {
		return nil, fmt.Errorf("making a zoom: %v s is too short to resolve %v Hz", duration, spanHz)
	}
	// Twice the span leaves the filter a transition band as wide as the span.
	// Up to the next power of two a faster rate costs nothing more in the
	// transform and makes the filter shorter.
	least := zoomPad * duration * math.Min(2*spanHz, rateHz)
	if !(least <= maxFFT) {
		return nil, fmt.Errorf("making a zoom: blocks of %v s of %v Hz are too long", duration, spanHz)
	}
	size := 1 << bits.Len(uint(math.Ceil(least))-1)
	factor := max(1, int(math.Ceil(zoomPad*duration*rateHz/float64(size))))
	if factor > maxFactor {
		return nil, fmt.Errorf("making a zoom: %v Hz is too narrow a part of %v Hz", spanHz, rateHz)
	}
	fft, err := newFFT(size, kernels)
	if err != nil {
		return nil, fmt.Errorf("making a zoom: %w", err)
	}
	z := &Zoom{
		rateHz: rateHz / float64(factor),
		filter: newDecimator(rateHz, offsetHz, spanHz/2, factor, kernels),
		fft:    fft,
		padded: make([]complex64, size),
	}
	length := int(duration*z.rateHz + 1e-6)
	z.zeros = make([]complex64, z.filter.behind())
	z.block = make([]complex64, 0, length)
	z.taper = zoomTaper.Samples(length)
	z.short = make([]float64, length)
	z.whole = z.shapeOf(z.taper)
	z.stepHz = z.rateHz / float64(size)
	z.cellHz = z.rateHz / float64(length) * cellBins(z.taper, 0)
	z.wholeHz = 1 / z.whole.sharpness
	z.first = int(math.Ceil((offsetHz-spanHz/2)/z.StepHz() - 1e-9))
	last := int(math.Floor((offsetHz+spanHz/2)/z.StepHz() + 1e-9))
	z.gain = make([]float64, last-z.first+1)
	z.sums = make([]float64, len(z.gain))
	z.compensate(rateHz, offsetHz, spanHz)
	return z, nil
}

// compensate sets the gain that makes up for the filter's response. That is so
// smooth that a few hundred places and straight lines between them are exact
// to 1e−5.
func (z *Zoom) compensate(rateHz, offsetHz, spanHz float64) {
	const places = 512
	var table [places + 2]float64
	for p := range table {
		r := z.filter.response(spanHz * (float64(p)/places - 0.5) / rateHz)
		table[p] = 1 / (r * r)
	}
	for i := range z.gain {
		f := float64(z.first+i)*z.StepHz() - offsetHz
		at := math.Min(math.Max((f/spanHz+0.5)*places, 0), places)
		p := int(at)
		z.gain[i] = table[p] + (at-float64(p))*(table[p+1]-table[p])
	}
}

// shapeOf works out what a taper does at the decimated rate.
//
// A tone of power P in noise N₀ has its peak where the derivative of the
// windowed transform's power is zero. To first order the noise moves that by
// N₀·rate·Σw²t² / (2P (2π Σwt²)²) as variance, t counted from the middle:
// without a taper that is the Cramér–Rao bound, 6 N₀ / ((2π)² P T³).
func (z *Zoom) shapeOf(taper []float64) shape {
	var sum, squares, spread, noise float64
	for i, v := range taper {
		t := (float64(i) - float64(len(taper))/2) / z.rateHz
		sum += v
		squares += v * v
		spread += v * t * t
		noise += v * v * t * t
	}
	weight := float64(len(taper)) / float64(cap(z.block))
	return shape{
		weight:    weight,
		weight2:   weight * weight,
		sharpness: sum * sum / (squares * z.rateHz),
		neighbour: binCorrelation(taper, float64(len(taper))/float64(len(z.padded))),
		wander:    z.rateHz * noise / (8 * math.Pi * math.Pi * spread * spread),
	}
}

// Write takes the samples that follow the last ones. The result does not
// depend on how a run of samples is divided among calls.
func (z *Zoom) Write(x []complex64) {
	for len(x) > 0 {
		z.block, x = z.filter.feed(z.block, x)
		for len(z.block) == cap(z.block) {
			z.finish(z.taper, z.whole)
			z.block, _ = z.filter.feed(z.block, nil)
		}
	}
}

// finish averages in the block as far as it is filled.
func (z *Zoom) finish(taper []float64, s shape) {
	squares := 0.0
	for i, v := range taper {
		x := z.block[i]
		g := float32(v)
		z.padded[i] = complex(g*real(x), g*imag(x))
		squares += v * v
	}
	clear(z.padded[len(taper):])
	z.fft.transform(z.padded, z.padded, false)
	scale := s.weight / (squares * z.rateHz)
	for i := range z.sums {
		v := z.padded[(z.first+i)&(len(z.padded)-1)]
		re, im := float64(real(v)), float64(imag(v))
		z.sums[i] += (re*re + im*im) * scale * z.gain[i]
	}
	z.mean.add(s)
	z.block = z.block[:0]
}

// Flush says that the samples to come do not follow the last ones. It works
// off what the filter still holds and averages in the last block, as far as it
// is filled, with a weight in proportion; but one less than half full is
// dropped when there is any other. So a stay as long as the block is one
// block, whatever the filter's delay.
func (z *Zoom) Flush() {
	z.Write(z.zeros)
	if n := len(z.block); n >= 16 && (2*n >= cap(z.block) || z.mean.weight == 0) {
		taper := z.short[:n]
		for i := range taper {
			taper[i] = zoomTaper.at(i, n)
		}
		z.finish(taper, z.shapeOf(taper))
	}
	z.block = z.block[:0]
	z.filter.restart()
}

// Reset forgets all samples.
func (z *Zoom) Reset() {
	z.block = z.block[:0]
	z.filter.restart()
	clear(z.sums)
	z.mean = shape{}
}
