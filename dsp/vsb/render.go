package vsb

import (
	"fmt"
	"math"
	"math/bits"
)

// The symbols are turned into a signal in blocks of blockSymbols of which the
// outer guardSymbols on each side are the neighbours' too: the pulse's tails
// beyond them are what is neglected.
const (
	blockSymbols = 16384
	guardSymbols = 1024
	hopSymbols   = blockSymbols - 2*guardSymbols

	cachedBlocks = 8
)

// The slice's own filter is flat up to passEdge of the sample rate on either
// side and zero from stopEdge on, so that what folds back lies in the
// outermost 4 % of the slice.
const (
	passEdge = 0.46
	stopEdge = 0.54
)

// Renderer makes the samples that a receiver has of a transmission when it
// sees a channel, or a part of it, through a slice of the spectrum. It is used
// by one goroutine at a time.
type Renderer struct {
	pilotHz  float64 // from the slice's centre
	first    int     // the lowest bin that the slice sees, counted from the pilot
	middle   int     // the bin that is 0 Hz in the blocks' sequences
	gain     []float32
	length   int // of the blocks' sequences; 0 when the slice sees nothing
	forward  *fft
	inverse  *fft
	root     []complex64 // exp(−2πi·k/blockSymbols), k ≤ blockSymbols/2
	between  *interpolator
	symbols  []float32
	spectrum []complex64
	blocks   [cachedBlocks]block
	clock    uint64
}

// symbolSource is a sequence of symbols known for all time.
type symbolSource interface {
	Symbols(dst []float32, first int64)
}

// block is a part of a transmission, sampled at length/blockSymbols of the
// symbol rate and moved so that bin middle is at 0 Hz.
type block struct {
	source  symbolSource
	dc      float32
	index   int64
	used    uint64
	samples []complex64
}

// NewRenderer returns a Renderer for slices of the given sample rate whose
// centre is offsetHz above the channel's lower edge. The slice may reach
// beyond the channel or miss it. Its own filter is flat to ±0.46 of the rate
// and has no response beyond ±0.54.
func NewRenderer(rateHz, offsetHz float64) (*Renderer, error) {
	if !(rateHz >= 1e5 && rateHz <= 1e9) {
		return nil, fmt.Errorf("rendering 8-VSB: a sample rate of %g Hz is not between 100 kHz and 1 GHz", rateHz)
	}
	if !(math.Abs(offsetHz) <= 1e12) {
		return nil, fmt.Errorf("rendering 8-VSB: a slice centre %g Hz from the channel is out of range", offsetHz)
	}
	r := &Renderer{pilotHz: PilotOffsetHz - offsetHz}
	const (
		bin     = SymbolRateHz / blockSymbols
		reach   = SymbolRateHz / 4 * (1 + RollOff)
		lowest  = ChannelWidthHz/2 - reach
		highest = ChannelWidthHz/2 + reach
	)
	low := math.Max(lowest, offsetHz-stopEdge*rateHz)
	high := math.Min(highest, offsetHz+stopEdge*rateHz)
	if low >= high {
		return r, nil
	}
	r.first = int(math.Ceil((low - PilotOffsetHz) / bin))
	last := int(math.Floor((high - PilotOffsetHz) / bin))
	count := last - r.first + 1
	r.middle = r.first + count/2
	for k := r.first; k <= last; k++ {
		at := PilotOffsetHz + float64(k)*bin
		g := response(at) * sliceResponse((at-offsetHz)/rateHz)
		g *= math.Sqrt(2/(LevelMeanSquare+PilotLevel*PilotLevel)) / blockSymbols
		r.gain = append(r.gain, float32(g))
	}
	// The interpolator wants a sequence oversampled by 1.79 or more, which
	// is what the whole channel has at the symbol rate.
	r.length = min(blockSymbols, max(64, 1<<bits.Len(uint(count*179/100))))
	r.forward, r.inverse = newFFT(blockSymbols/2), newFFT(r.length)
	r.root = make([]complex64, blockSymbols/2+1)
	for k := range r.root {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / blockSymbols)
		r.root[k] = complex(float32(c), float32(s))
	}
	r.between = newInterpolator()
	r.symbols = make([]float32, blockSymbols)
	r.spectrum = make([]complex64, blockSymbols/2)
	return r, nil
}

// sliceResponse is the amplitude of the slice's own filter at a part of the
// sample rate.
func sliceResponse(x float64) float64 {
	switch x = (math.Abs(x) - passEdge) / (stopEdge - passEdge); {
	case x <= 0:
		return 1
	case x < 1:
		return 0.5 + 0.5*math.Cos(math.Pi*x)
	}
	return 0
}

// Render fills dst with the samples of w at the times startSeconds +
// n·stepSeconds, centred on the slice. The whole transmission, pilot included,
// has an average power of 1 before the slice's filter; the pilot's phase is 0
// at time 0. Any times may be asked for in any order: a span rendered in
// pieces is the span rendered at once.
func (r *Renderer) Render(dst []complex64, w *Waveform, startSeconds, stepSeconds float64) error {
	clear(dst)
	return r.Add(dst, w, startSeconds, stepSeconds, 1)
}

// Add adds to dst what Render would fill it with, multiplied by gain. Paths of
// one transmission that differ by less than some milliseconds cost little
// after the first.
func (r *Renderer) Add(dst []complex64, w *Waveform, startSeconds, stepSeconds float64, gain complex128) error {
	return r.add(dst, w, PilotLevel, startSeconds, stepSeconds, gain)
}

func (r *Renderer) add(dst []complex64, source symbolSource, dc float32, startSeconds, stepSeconds float64, gain complex128) error {
	const farthest = 1 << 52 / SymbolRateHz
	end := startSeconds + float64(len(dst))*stepSeconds
	if !(math.Abs(startSeconds) < farthest && math.Abs(end) < farthest && stepSeconds > 0) {
		return fmt.Errorf("rendering 8-VSB: %d samples from %g s in steps of %g s are out of range", len(dst), startSeconds, stepSeconds)
	}
	if r.length == 0 {
		return nil
	}
	for n := 0; n < len(dst); {
		t := startSeconds + float64(n)*stepSeconds
		index := int64(math.Floor(t * SymbolRateHz / hopSymbols))
		span := (float64(index+1)*hopSymbols/SymbolRateHz - t) / stepSeconds
		count := max(1, int(math.Min(math.Ceil(span), float64(len(dst)-n))))
		r.addBlock(dst[n:n+count], r.block(source, dc, index), t, stepSeconds, gain)
		n += count
	}
	return nil
}

// addBlock adds samples that lie in one block.
func (r *Renderer) addBlock(dst []complex64, b *block, t, step float64, gain complex128) {
	scale := float64(r.length) / blockSymbols
	origin := float64(b.index*hopSymbols - guardSymbols)
	position := (t*SymbolRateHz - origin) * scale
	advance := step * SymbolRateHz * scale
	shift := float64(r.middle) / float64(r.length) // cycles per block sample
	phase := turn(r.pilotHz*t) * turn(shift*position) * gain
	spin := turn(r.pilotHz*step + shift*advance)
	for n := range dst {
		x := position + float64(n)*advance
		i := int(x)
		y := r.between.at(b.samples, i, x-float64(i))
		dst[n] += y * complex64(phase)
		phase *= spin
	}
}

// turn returns exp(2πi·cycles).
func turn(cycles float64) complex128 {
	s, c := math.Sincos(2 * math.Pi * (cycles - math.Round(cycles)))
	return complex(c, s)
}

// block returns a block of the source, from the cache if it is there.
func (r *Renderer) block(source symbolSource, dc float32, index int64) *block {
	r.clock++
	oldest := &r.blocks[0]
	for i := range r.blocks {
		b := &r.blocks[i]
		if b.source == source && b.dc == dc && b.index == index {
			b.used = r.clock
			return b
		}
		if b.used < oldest.used {
			oldest = b
		}
	}
	if oldest.samples == nil {
		oldest.samples = make([]complex64, r.length)
	}
	oldest.source, oldest.dc, oldest.index, oldest.used = source, dc, index, r.clock
	r.fill(oldest)
	return oldest
}

// fill computes a block's samples: the symbols' spectrum, repeated at the
// symbol rate as it is, shaped by the pulse and the slice's filter.
func (r *Renderer) fill(b *block) {
	b.source.Symbols(r.symbols, b.index*hopSymbols-guardSymbols)
	z := r.spectrum
	for i := range z {
		z[i] = complex(r.symbols[2*i], r.symbols[2*i+1])
	}
	r.forward.transform(z)
	clear(b.samples)
	mask := r.length - 1
	for i, g := range r.gain {
		k := r.first + i
		x := r.bin(k)
		if k == 0 {
			x += complex(b.dc*blockSymbols, 0)
		}
		// The inverse transform is the forward one of the mirrored sequence.
		b.samples[(r.middle-k)&mask] = complex(g*real(x), g*imag(x))
	}
	r.inverse.transform(b.samples)
}

// bin returns one value of the transform of the block's real symbols, made
// from the transform of their pairs.
func (r *Renderer) bin(k int) complex64 {
	const half = blockSymbols / 2
	mirror := false
	if k = k & (blockSymbols - 1); k > half {
		k, mirror = blockSymbols-k, true
	}
	a, b := r.spectrum[k&(half-1)], r.spectrum[(half-k)&(half-1)]
	even := complex(real(a)+real(b), imag(a)-imag(b)) / 2
	odd := complex(imag(a)+imag(b), real(b)-real(a)) / 2
	x := even + r.root[k]*odd
	if mirror {
		x = complex(real(x), -imag(x))
	}
	return x
}
