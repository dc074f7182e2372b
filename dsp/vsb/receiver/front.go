package receiver

import (
	"math"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
)

const (
	// frontSize is the length of the transforms that cut the channel out of the
	// band; frontOverlap of it is shared with the transform before. Half of
	// that on either side is what the filter's response may last.
	frontSize    = 8192
	frontOverlap = frontSize / 4
	frontHop     = frontSize - frontOverlap

	// leastBetween is the least rate at which the whole channel is within what
	// the interpolator reads well.
	leastBetween = 10.8e6
)

// front cuts the channel out of the band by overlapped transforms and moves its
// middle near 0 Hz. Its output has the input's rate or twice that.
type front struct {
	rateHz, middleHz float64 // of the input; the channel's nominal middle in it
	double           bool

	forward, inverse *psd.FFT
	gain             []float32 // of the bins from low on
	low, shift       int
	pending          []complex64
	filled           int
	turns            int // of the next block, in quarters
	bins, spread     []complex64
}

func newFront(rateHz, middleHz float64) (*front, error) {
	f := &front{
		rateHz: rateHz, middleHz: middleHz, double: rateHz < leastBetween,
		pending: make([]complex64, frontSize), bins: make([]complex64, frontSize),
	}
	f.shift = int(math.Round(middleHz / rateHz * frontSize))
	f.spread = make([]complex64, f.outSize())
	var err error
	if f.forward, err = psd.NewFFT(frontSize); err != nil {
		return nil, err
	}
	if f.inverse, err = psd.NewFFT(f.outSize()); err != nil {
		return nil, err
	}
	f.gain = make([]float32, 0, frontSize)
	f.reset(0, 0)
	return f, nil
}

func (f *front) outSize() int {
	if f.double {
		return 2 * frontSize
	}
	return frontSize
}

// outRate is the output's rate.
func (f *front) outRate() float64 { return f.rateHz * float64(f.outSize()) / frontSize }

// centreHz is what of the input becomes 0 Hz.
func (f *front) centreHz() float64 { return float64(f.shift) / frontSize * f.rateHz }

// reset forgets all samples and sets the filter: the matched one for a channel
// that is off its nominal place by so much, or, with wider above 0, one that is
// flat and wider by so much at either edge.
func (f *front) reset(offHz, widerHz float64) {
	f.filled, f.turns = frontOverlap/2, 0
	clear(f.pending)
	bin := f.rateHz / frontSize
	reach := vsb.ChannelWidthHz/2 + 1e3 + widerHz
	middle := f.middleHz + offHz
	f.low = max(-frontSize/2, int(math.Ceil((middle-reach)/bin)))
	high := min(frontSize/2-1, int((middle+reach)/bin))
	flat := vsb.Density(vsb.ChannelWidthHz / 2)
	f.gain = f.gain[:0]
	for k := f.low; k <= high; k++ {
		hz := float64(k)*bin - middle
		g := math.Sqrt(vsb.Density(vsb.ChannelWidthHz/2+hz) / flat)
		if widerHz > 0 {
			g = math.Sqrt(min(1, (reach-math.Abs(hz))/widerHz))
		}
		f.gain = append(f.gain, float32(g/frontSize))
	}
}

// write takes samples until it has an output, and returns how many it took. The
// output, which may be empty, holds until the next call. Output i after a reset is
// the filtered input at i input periods, or i half ones, after the first sample.
func (f *front) write(x []complex64) (taken int, out []complex64) {
	taken = copy(f.pending[f.filled:], x)
	f.filled += taken
	if f.filled < frontSize {
		return taken, nil
	}
	out = f.block()
	copy(f.pending, f.pending[frontHop:])
	f.filled = frontOverlap
	return taken, out
}

// block filters what is pending. A block that holds what is no number becomes
// silence.
func (f *front) block() []complex64 {
	_ = f.forward.Transform(f.bins, f.pending)
	clear(f.spread)
	n := len(f.spread)
	at := f.bins
	var power float32
	// The block begins hop samples after the last: the shift in frequency has
	// turned by shift·hop/size, three quarters of a turn times shift.
	w := [4]complex64{1, complex(0, -1), -1, complex(0, 1)}[f.turns&3]
	wr, wi := real(w), imag(w)
	for i, g := range f.gain {
		v := at[(f.low+i)&(frontSize-1)]
		re, im := real(v)*g, imag(v)*g
		power += re*re + im*im
		f.spread[(f.low+i-f.shift)&(n-1)] = complex(re*wr-im*wi, re*wi+im*wr)
	}
	f.turns += 3 * f.shift & 3
	if !(power < 1e12) {
		clear(f.spread)
	}
	_ = f.inverse.Inverse(f.spread, f.spread)
	ratio := n / frontSize
	return f.spread[frontOverlap/2*ratio : (frontSize-frontOverlap/2)*ratio]
}
