package psd

import (
	"fmt"
	"math"
	"math/bits"
)

// zoomPad is how many times the block is zero-padded at least. At four the
// grid misses at most 0.23 dB of a tone between two values, and the
// interpolated peak next to nothing.
const zoomPad = 4

// Zoom measures the power density of a narrow piece of what a tuner delivers
// with the resolution that blocks of a stated duration give: band-pass filter
// and decimation, then zero-padded transforms of tapered blocks that follow
// each other without overlap, averaged as power. The filter's own response is
// divided out. It is used by one goroutine.
type Zoom struct {
	rateHz  float64 // after decimation
	factor  int
	taps    []complex64 // band-pass around the offset
	history []complex64 // the input that later outputs still need
	skip    int         // outputs are due every factor samples; this many to pass over first

	block  []complex64 // decimated samples of the block being filled
	taper  []float64   // scratch: the taper of the last block
	fft    *FFT
	padded []complex64

	first int       // the grid's first value is at first·StepHz
	gain  []float64 // 1 / |filter|² at each value

	sums         []float64 // Σ weight · density
	weight       float64   // Σ weight; that of a full block is 1
	weight2      float64   // Σ weight²
	sharpness    float64   // Σ weight / equivalent noise bandwidth
	neighbour    float64   // Σ weight² · correlation of neighbouring values
	frequencyVar float64   // Σ weight² · variance of a tone's frequency for density over power of 1 s
}

// NewZoom makes an estimator of the spanHz around offsetHz, from −span/2 to
// +span/2, of samples at rateHz, with blocks of the given duration in seconds.
func NewZoom(rateHz, offsetHz, spanHz, duration float64) (*Zoom, error) {
	if !(rateHz > 0) || math.IsInf(rateHz, 0) {
		return nil, fmt.Errorf("making a zoom: rate %v Hz", rateHz)
	}
	if !(spanHz > 0) || !(math.Abs(offsetHz)+spanHz/2 <= rateHz/2) {
		return nil, fmt.Errorf("making a zoom: %v Hz wide at %v Hz is not inside ±%v Hz", spanHz, offsetHz, rateHz/2)
	}
	if !(duration*spanHz >= 16) {
		return nil, fmt.Errorf("making a zoom: %v s is too short to resolve %v Hz", duration, spanHz)
	}
	// Twice the span leaves the filter a transition band as wide as the span.
	// Up to the next power of two a faster rate costs nothing more in the
	// transform and makes the filter shorter.
	least := zoomPad * duration * math.Min(2*spanHz, rateHz)
	if least > maxFFT {
		return nil, fmt.Errorf("making a zoom: blocks of %v s of %v Hz are too long", duration, spanHz)
	}
	size := 1 << bits.Len(uint(math.Ceil(least))-1)
	factor := max(1, int(math.Ceil(zoomPad*duration*rateHz/float64(size))))
	z := &Zoom{rateHz: rateHz / float64(factor), factor: factor}
	length := int(duration*z.rateHz + 1e-6)
	lowpass := lowpassTaps(rateHz, spanHz/2, z.rateHz-spanHz/2)
	if factor == 1 {
		lowpass = []float64{1}
	}
	half := len(lowpass) / 2
	z.taps = make([]complex64, len(lowpass))
	for k, h := range lowpass {
		sin, cos := math.Sincos(-2 * math.Pi * math.Mod(offsetHz/rateHz*float64(k-half), 1))
		z.taps[k] = complex64(complex(h*cos, h*sin))
	}
	var err error
	if z.fft, err = NewFFT(size); err != nil {
		return nil, fmt.Errorf("making a zoom: %w", err)
	}
	z.block = make([]complex64, 0, length)
	z.taper = make([]float64, length)
	z.padded = make([]complex64, size)
	step := z.StepHz()
	z.first = int(math.Ceil((offsetHz-spanHz/2)/step - 1e-9))
	last := int(math.Floor((offsetHz+spanHz/2)/step + 1e-9))
	z.gain = make([]float64, last-z.first+1)
	z.sums = make([]float64, len(z.gain))
	for i := range z.gain {
		z.gain[i] = 1
	}
	if factor > 1 {
		z.compensate(lowpass, rateHz, offsetHz, spanHz)
	}
	z.history = make([]complex64, 0, len(z.taps)+max(4096, 4*factor))
	z.restart()
	return z, nil
}

// compensate sets the gain that makes up for the filter's response. The
// response is so smooth that a few hundred places and straight lines between
// them are exact to 1e-5.
func (z *Zoom) compensate(lowpass []float64, rateHz, offsetHz, spanHz float64) {
	const places = 512
	var table [places + 2]float64
	for p := range table {
		f := spanHz * (float64(p)/places - 0.5)
		response := 0.0
		for k, h := range lowpass {
			response += h * math.Cos(2*math.Pi*f/rateHz*float64(k-len(lowpass)/2))
		}
		table[p] = 1 / (response * response)
	}
	for i := range z.gain {
		f := float64(z.first+i)*z.StepHz() - offsetHz
		at := math.Min(math.Max((f/spanHz+0.5)*places, 0), places)
		p := int(at)
		z.gain[i] = table[p] + (at-float64(p))*(table[p+1]-table[p])
	}
}

// stopbandDB is how far the decimation filter keeps aliases down.
const stopbandDB = 100

// lowpassTaps designs a linear-phase low-pass of odd length for samples at
// rateHz by Kaiser's method: flat to passHz, stopbandDB down from stopHz.
// J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window
// function", Proc. IEEE ISCAS 1974.
func lowpassTaps(rateHz, passHz, stopHz float64) []float64 {
	const beta = 0.1102 * (stopbandDB - 8.7)
	half := int(math.Ceil((stopbandDB - 7.95) / (2.285 * 2 * math.Pi * (stopHz - passHz) / rateHz) / 2))
	cutoff := (passHz + stopHz) / rateHz // in half cycles per sample
	taps := make([]float64, 2*half+1)
	sum := 0.0
	for i := range taps {
		t := float64(i - half)
		taps[i] = cutoff
		if t != 0 {
			taps[i] = math.Sin(math.Pi*cutoff*t) / (math.Pi * t)
		}
		taps[i] *= besselI0(beta * math.Sqrt(1-t*t/float64(half*half)))
		sum += taps[i]
	}
	for i := range taps {
		taps[i] /= sum
	}
	return taps
}

// besselI0 is the modified Bessel function of the first kind and order 0.
func besselI0(x float64) float64 {
	term, sum := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x / (2 * k) * x / (2 * k)
		sum += term
	}
	return sum
}

// restart empties the filter: the samples before the first count as zero, so
// that the first output belongs to the first input.
func (z *Zoom) restart() {
	z.history = z.history[:len(z.taps)/2]
	clear(z.history)
	z.skip = 0
	z.block = z.block[:0]
}

// Write takes the samples that follow the last ones. The result does not
// depend on how a run of samples is divided among calls.
func (z *Zoom) Write(x []complex64) {
	for len(x) > 0 {
		m := min(len(x), cap(z.history)-len(z.history))
		z.history = append(z.history, x[:m]...)
		x = x[m:]
		z.decimate()
	}
}

// decimate makes the outputs whose inputs are all there.
func (z *Zoom) decimate() {
	at := z.skip
	for ; at+len(z.taps) <= len(z.history); at += z.factor {
		z.block = append(z.block, dot(z.history[at:], z.taps))
		if len(z.block) == cap(z.block) {
			z.finish()
		}
	}
	used := min(at, len(z.history))
	z.skip = at - used
	z.history = z.history[:copy(z.history, z.history[used:])]
}

// dot is Σ x[i] h[i] over the length of h.
func dot(x, h []complex64) complex64 {
	var re, im float32
	x = x[:len(h)]
	for i, c := range h {
		re += real(x[i])*real(c) - imag(x[i])*imag(c)
		im += real(x[i])*imag(c) + imag(x[i])*real(c)
	}
	return complex(re, im)
}

// finish averages in the block as far as it is filled, by its length.
func (z *Zoom) finish() {
	length := len(z.block)
	taper := z.taper[:length]
	var sum, squares, spread, noiseSpread float64
	for i := range taper {
		v := Tukey.at(i, length)
		t := (float64(i) - float64(length)/2) / z.rateHz
		taper[i] = v
		sum += v
		squares += v * v
		spread += v * t * t
		noiseSpread += v * v * t * t
		z.padded[i] = complex(float32(v)*real(z.block[i]), float32(v)*imag(z.block[i]))
	}
	clear(z.padded[length:])
	z.fft.transform(z.padded, z.padded, false)
	weight := float64(length) / float64(cap(z.block))
	scale := weight / (squares * z.rateHz)
	for i := range z.sums {
		v := z.padded[(z.first+i)&(len(z.padded)-1)]
		re, im := float64(real(v)), float64(imag(v))
		z.sums[i] += (re*re + im*im) * scale * z.gain[i]
	}
	z.weight += weight
	z.weight2 += weight * weight
	z.sharpness += weight * sum * sum / (squares * z.rateHz)
	z.neighbour += weight * weight * binCorrelation(taper, float64(length)/float64(len(z.padded)))
	z.frequencyVar += weight * weight * noiseSpread * z.rateHz / (2 * spread * spread * 4 * math.Pi * math.Pi)
	z.block = z.block[:0]
}

// Flush says that the samples to come do not follow the last ones. It works
// off what the filter still holds and averages in the last block, as far as it
// is filled, with a weight in proportion; but one less than half full is
// dropped when there is any other. So a stay as long as the block is one
// block, whatever the filter's delay.
func (z *Zoom) Flush() {
	for left := len(z.taps) / 2; left > 0; {
		m := min(left, cap(z.history)-len(z.history))
		n := len(z.history)
		z.history = z.history[:n+m]
		clear(z.history[n:])
		left -= m
		z.decimate()
	}
	if n := len(z.block); n >= 16 && (2*n >= cap(z.block) || z.weight == 0) {
		z.finish()
	}
	z.restart()
}

// Reset forgets all samples.
func (z *Zoom) Reset() {
	z.restart()
	clear(z.sums)
	z.weight, z.weight2, z.sharpness, z.neighbour, z.frequencyVar = 0, 0, 0, 0, 0
}

// StepHz is the distance between values of Density: a quarter or less of what
// the blocks resolve.
func (z *Zoom) StepHz() float64 { return z.rateHz / float64(z.fft.n) }

// StartHz is the frequency of the first value of Density, counted from the
// middle of the samples' band.
func (z *Zoom) StartHz() float64 { return float64(z.first) * z.StepHz() }

// Density writes the power density in FS²/Hz to dst, which is made when it is
// too short, and returns it. All values are NaN before there was a block.
func (z *Zoom) Density(dst []float64) []float64 {
	if len(dst) < len(z.sums) {
		dst = make([]float64, len(z.sums))
	}
	dst = dst[:len(z.sums)]
	for i, s := range z.sums {
		dst[i] = s / z.weight
	}
	return dst
}

// Averages is the number of independent averages behind each value of
// Density: the number of blocks, a partial one counting for less.
func (z *Zoom) Averages() float64 {
	if z.weight == 0 {
		return 0
	}
	return z.weight * z.weight / z.weight2
}

// BandwidthHz is the equivalent noise bandwidth of the blocks: a tone of power
// P raises the density at its frequency by P/BandwidthHz.
func (z *Zoom) BandwidthHz() float64 { return z.weight / z.sharpness }

// Spectrum returns what was measured as a Spectrum around centerHz. It reuses
// the memory of s.
func (z *Zoom) Spectrum(s *Spectrum, centerHz float64) {
	s.StartHz, s.StepHz = centerHz+z.StartHz(), z.StepHz()
	s.Density = z.Density(s.Density)
	s.Averages = z.Averages()
	s.CellHz = z.BandwidthHz()
}
