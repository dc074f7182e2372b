package vsb

import (
	"fmt"
	"math"
	"math/bits"

	"rooftone/dsp/psd"
	"rooftone/dsp/render"
)

// Symbols become a signal in blocks, by the transform of blockSymbols of them.
// Of each block guardSymbols at either end are there only for the tails of
// their pulses. What a root-raised-cosine pulse of roll-off 0.1152 has beyond
// 95 µs is some −89 dB of it.
const (
	blockSymbols = 16384
	guardSymbols = 1024
)

// pulseHeight gives the standard's levels and pilot an average power of 1: it
// is √(2/(21 + 1.25²)), for the mean of the squared response over the symbol
// rate is one half.
const pulseHeight = 0.29772917102591473

// Source is a station's sequence of symbols, known for all time: a Waveform's, or an
// encoded broadcast's. Two Sources must be comparable by ==.
type Source interface {
	// Symbols fills dst with the levels of the symbols from index first on,
	// without the pilot's DC.
	Symbols(dst []float32, first int64)
}

// shaper turns blocks of symbols into what a slice sees of their signal: a
// sequence of length samples a block, moved in frequency so that what it sees
// lies around 0 Hz.
type shaper struct {
	length int
	first  int // the lowest bin of the symbols' transform that is seen; bin 0 is the pilot
	middle int // the bin that becomes 0 Hz

	seen             []seenBin
	forward, inverse *psd.FFT
	levels           []float32
	pairs, spectrum  []complex64
	mirrored         []complex64
}

// seenBin is a bin k of the symbols' transform that the slice sees. The
// transform of N real symbols is made from Z, that of their N/2 pairs taken as
// complex numbers: with a = Z[k] and b = conj(Z[N/2−k]), indices modulo N/2,
// it is ((a+b) + root·(a−b))/2, where root = −i·exp(−2πik/N).
type seenBin struct {
	a, b, to int32   // places in spectrum and in mirrored
	gain     float32 // of pulse and slice, and the factor 1/2
	root     complex64
}

// newShaper returns nil when the slice misses the channel.
func newShaper(filter render.Filter, offsetHz float64) (*shaper, error) {
	const (
		bin   = SymbolRateHz / blockSymbols
		reach = SymbolRateHz / 4 * (1 + RollOff) // from the channel's middle
	)
	low := math.Max(ChannelWidthHz/2-reach, offsetHz-filter.ReachHz)
	high := math.Min(ChannelWidthHz/2+reach, offsetHz+filter.ReachHz)
	first := int(math.Ceil((low - PilotOffsetHz) / bin))
	count := int(math.Floor((high-PilotOffsetHz)/bin)) - first + 1
	if !(low < high) || count < 1 {
		return nil, nil
	}
	s := &shaper{
		first:    first,
		middle:   first + count/2,
		length:   max(render.ShortestBlock, 1<<bits.Len(uint(float64(count)/render.WidestContent))),
		seen:     make([]seenBin, count),
		levels:   make([]float32, blockSymbols),
		pairs:    make([]complex64, blockSymbols/2),
		spectrum: make([]complex64, blockSymbols/2),
	}
	if s.length > blockSymbols {
		return nil, fmt.Errorf("%d of %d bins are too many to interpolate between", count, blockSymbols)
	}
	s.mirrored = make([]complex64, s.length)
	for i := range s.seen {
		hz := PilotOffsetHz + float64(first+i)*bin
		s.seen[i] = s.bin(first+i, response(hz)*filter.Amplitude(hz-offsetHz))
	}
	var err error
	if s.forward, err = psd.NewFFT(blockSymbols / 2); err != nil {
		return nil, err
	}
	if s.inverse = s.forward; s.length != blockSymbols/2 {
		s.inverse, err = psd.NewFFT(s.length)
	}
	return s, err
}

// bin prepares bin k, which is seen with the given amplitude.
func (s *shaper) bin(k int, amplitude float64) seenBin {
	const half = blockSymbols / 2
	turned := turn(-float64(k)/blockSymbols) * -1i
	return seenBin{
		a: int32(k & (half - 1)), b: int32(-k & (half - 1)),
		// A transform of the mirrored sequence is the inverse transform.
		to:   int32((s.middle - k) & (s.length - 1)),
		gain: float32(amplitude * pulseHeight / blockSymbols / 2),
		root: complex64(turned),
	}
}

// shape fills dst, of s.length, with the block that begins with a symbol. Of the
// block's symbols, each raised by dc, the pulses sum to
//
//	x(t) = Σ X[k]·G(k)·exp(2πi·k·t/T),
//
// where X is the symbols' transform, T the block's duration and G the pulse's
// and the slice's response, and dst holds exp(−2πi·middle·t/T)·x(t).
func (s *shaper) shape(dst []complex64, source Source, dc float32, first int64) error {
	source.Symbols(s.levels, first)
	for i := range s.pairs {
		s.pairs[i] = complex(s.levels[2*i]+dc, s.levels[2*i+1]+dc)
	}
	if err := s.forward.Transform(s.spectrum, s.pairs); err != nil {
		return err
	}
	clear(s.mirrored)
	for _, k := range s.seen {
		a, b := s.spectrum[k.a], s.spectrum[k.b]
		sr, si := real(a)+real(b), imag(a)-imag(b)
		dr, di := real(a)-real(b), imag(a)+imag(b)
		wr, wi := real(k.root), imag(k.root)
		s.mirrored[k.to] = complex(
			k.gain*(sr+wr*dr-wi*di),
			k.gain*(si+wr*di+wi*dr))
	}
	return s.inverse.Transform(dst, s.mirrored)
}

// turn returns exp(2πi·cycles).
func turn(cycles float64) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Round(cycles)))
	return complex(cos, sin)
}
