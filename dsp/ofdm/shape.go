package ofdm

import (
	"fmt"
	"math"
	"math/bits"

	"rooftone/dsp/psd"
)

// Samples at the body's rate become a signal in blocks, by the transform of
// blockSamples of them. Of each block guardSamples at either end are there only
// for what the filters smear over them.
const (
	blockSamples = 16384
	guardSamples = 1024
	hopSamples   = blockSamples - 2*guardSamples
)

// The transmitter's filter is flat to flatHz on either side of the middle and
// has a raised-cosine edge from there to the channel's.
const flatHz = 2.92e6

// The slice's own filter, in parts of the sample rate.
const (
	passEdge = 0.46
	stopEdge = 0.54
)

// widestContent is the two-sided bandwidth of a block, in cycles a sample, up
// to which between keeps to its error.
const widestContent = 0.2

// shaper turns blocks of samples into what a slice sees of their signal: a
// sequence of length samples a block, moved in frequency so that what it sees
// lies around 0 Hz.
type shaper struct {
	length int
	first  int // the lowest bin of the block's transform that is seen; bin 0 is the channel's middle
	middle int // the bin that becomes 0 Hz

	gains            []float32 // of the bins that are seen
	modulator        *modulator
	forward, inverse *psd.FFT
	block, moved     []complex64
}

// newShaper returns nil when the slice misses the channel.
func newShaper(rateHz, offsetHz float64) (*shaper, error) {
	const bin = BodyRateHz / blockSamples
	away := offsetHz - ChannelWidthHz/2
	low := math.Max(-ChannelWidthHz/2, away-stopEdge*rateHz)
	high := math.Min(ChannelWidthHz/2, away+stopEdge*rateHz)
	first := int(math.Ceil(low / bin))
	count := int(math.Floor(high/bin)) - first + 1
	if !(low < high) || count < 1 {
		return nil, nil
	}
	s := &shaper{
		first:  first,
		middle: first + count/2,
		length: max(64, 1<<bits.Len(uint(float64(count)/widestContent))),
		gains:  make([]float32, count),
		block:  make([]complex64, blockSamples),
	}
	s.moved = make([]complex64, s.length)
	for i := range s.gains {
		hz := float64(first+i) * bin
		gain := edge(math.Abs(hz), flatHz, ChannelWidthHz/2) * edge(math.Abs(hz-away)/rateHz, passEdge, stopEdge)
		s.gains[i] = float32(gain / blockSamples)
	}
	var err error
	if s.modulator, err = newModulator(); err != nil {
		return nil, err
	}
	if s.forward, err = psd.NewFFT(blockSamples); err != nil {
		return nil, err
	}
	if s.inverse, err = psd.NewFFT(s.length); err != nil {
		return nil, fmt.Errorf("%d bins: %w", count, err)
	}
	return s, nil
}

// edge is the amplitude at x of a filter that is 1 up to pass and falls to 0 at
// stop as a raised cosine does.
func edge(x, pass, stop float64) float64 {
	switch x = (x - pass) / (stop - pass); {
	case x <= 0:
		return 1
	case x < 1:
		return 0.5 + 0.5*math.Cos(math.Pi*x)
	}
	return 0
}

// firstSample is the sample with which a block begins. Its first guardSamples
// and its last ones are in it for the filters only.
func firstSample(index int64) int64 { return index*hopSamples - guardSamples }

// shape fills dst, of s.length, with the block of the given index: with X the
// transform of its samples, G the filters' response and T the block's duration
// it holds
//
//	exp(−2πi·middle·t/T) · Σ X[k]·G(k)·exp(2πi·k·t/T).
func (s *shaper) shape(dst []complex64, w *Waveform, index int64) error {
	if err := s.modulator.samples(s.block, w, firstSample(index)); err != nil {
		return err
	}
	if err := s.forward.Transform(s.block, s.block); err != nil {
		return err
	}
	clear(s.moved)
	for i, g := range s.gains {
		k := s.first + i
		v := s.block[k&(blockSamples-1)]
		s.moved[(k-s.middle)&(s.length-1)] = complex(g*real(v), g*imag(v))
	}
	return s.inverse.Inverse(dst, s.moved)
}

// between returns x at a position, of which three samples must lie before and
// five behind, by Lagrange's polynomial through the eight samples around. Its
// error is below −90 dB for content up to 0.1 cycles a sample.
func between(x []complex64, position float64) complex64 {
	const before = 3
	whole := int(position)
	d := float32(position - float64(whole))
	// With the samples at −3…4, the weight of the one at j is the product of
	// (d−i)/(j−i) over all the others, made of those below and those above.
	var weight [8]float32
	product := float32(1)
	for j := range weight {
		weight[j] = product * lagrange[j]
		product *= d + before - float32(j)
	}
	product = 1
	for j := len(weight) - 1; j >= 0; j-- {
		weight[j] *= product
		product *= d + before - float32(j)
	}
	var re, im float32
	for j, v := range (*[8]complex64)(x[whole-before:]) {
		re += weight[j] * real(v)
		im += weight[j] * imag(v)
	}
	return complex(re, im)
}

// lagrange is one over the product of j−i over the other seven samples i.
var lagrange = [8]float32{
	-1. / 5040, 1. / 720, -1. / 240, 1. / 144, -1. / 144, 1. / 240, -1. / 720, 1. / 5040,
}
