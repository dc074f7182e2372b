package ofdm

import (
	"fmt"
	"math"
	"math/bits"

	"rooftone/dsp/psd"
	"rooftone/dsp/render"
)

// Samples at the body's rate become a signal in blocks, by the transform of
// blockSamples of them. Of each block guardSamples at either end are there only
// for what the filters smear over them.
const (
	blockSamples = 16384
	guardSamples = 1024
)

// The transmitter's filter is flat to flatHz on either side of the middle and
// has a raised-cosine edge from there to the channel's.
const flatHz = 2.92e6

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
func newShaper(filter render.Filter, offsetHz float64) (*shaper, error) {
	const bin = BodyRateHz / blockSamples
	away := offsetHz - ChannelWidthHz/2
	low := math.Max(-ChannelWidthHz/2, away-filter.ReachHz)
	high := math.Min(ChannelWidthHz/2, away+filter.ReachHz)
	first := int(math.Ceil(low / bin))
	count := int(math.Floor(high/bin)) - first + 1
	if !(low < high) || count < 1 {
		return nil, nil
	}
	s := &shaper{
		first:  first,
		middle: first + count/2,
		length: max(render.ShortestBlock, 1<<bits.Len(uint(float64(count)/render.WidestContent))),
		gains:  make([]float32, count),
		block:  make([]complex64, blockSamples),
	}
	s.moved = make([]complex64, s.length)
	for i := range s.gains {
		hz := float64(first+i) * bin
		gain := render.Edge(math.Abs(hz), flatHz, ChannelWidthHz/2) * filter.Amplitude(hz-away)
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

// shape fills dst, of s.length, with the block that begins with a sample: with X the
// transform of its samples, G the filters' response and T the block's duration
// it holds
//
//	exp(−2πi·middle·t/T) · Σ X[k]·G(k)·exp(2πi·k·t/T).
func (s *shaper) shape(dst []complex64, w *Waveform, first int64) error {
	if err := s.modulator.samples(s.block, w, first); err != nil {
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
