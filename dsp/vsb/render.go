package vsb

import (
	"fmt"
	"math"
)

// cachedBlocks is how many blocks of a transmission a Renderer remembers.
const cachedBlocks = 8

// Renderer makes the samples that a receiver has of a transmission when it
// sees a channel, or a part of it, through a slice of the spectrum. It is used
// by one goroutine at a time and holds some 1 MB, 3 MB for a whole channel.
//
// A receiver whose clock is off by e has slices that begin at other places and
// samples at other times than it believes: for a slice that it calls centred
// on c hertz, at a rate r, give NewRenderer a centre that is c·e higher and
// Render a step of 1/(r·(1+e)).
type Renderer struct {
	shaper  *shaper // nil when the slice misses the channel
	between *interpolator
	pilotHz float64 // from the slice's centre
	blocks  [cachedBlocks]block
	clock   uint64
}

// block is a part of a transmission as a shaper makes it.
type block struct {
	source  Source
	dc      float32
	index   int64
	used    uint64 // when, on the Renderer's clock
	samples []complex64
}

// NewRenderer returns a Renderer for slices of the given sample rate whose
// centre is offsetHz above the channel's lower edge. The slice may reach
// beyond the channel or miss it. Its own filter is flat to ±0.46 of the rate
// and has no response beyond ±0.54, so what folds back stays in the outermost
// 4 % on either side.
//
// The rate must be from 100 kHz to 1 GHz and the centre within 1 THz.
func NewRenderer(rateHz, offsetHz float64) (*Renderer, error) {
	if !(rateHz >= 1e5 && rateHz <= 1e9) {
		return nil, fmt.Errorf("rendering 8-VSB: a sample rate of %g Hz is not between 100 kHz and 1 GHz", rateHz)
	}
	if !(math.Abs(offsetHz) <= 1e12) {
		return nil, fmt.Errorf("rendering 8-VSB: a slice centre %g Hz from the channel's edge is too far off", offsetHz)
	}
	shaper, err := newShaper(rateHz, offsetHz)
	if err != nil {
		return nil, fmt.Errorf("rendering 8-VSB: %w", err)
	}
	r := &Renderer{shaper: shaper, pilotHz: PilotOffsetHz - offsetHz}
	if shaper != nil {
		r.between = newInterpolator()
	}
	return r, nil
}

// Render fills dst with the samples of w at the times startSeconds +
// n·stepSeconds, centred on the slice. The whole transmission, pilot included,
// has an average power of 1 before the slice's filter, but for the 0.007 dB
// that the syncs, being louder than data, add to it. The pilot's phase is 0 at
// time 0.
//
// Any times may be asked for in any order; a span rendered in pieces is the
// span rendered at once. The error of the samples is below −90 dB where the
// slice sees the flat of the spectrum; far from time 0 the rounding of times in
// a float64 grows up to it: at 10⁴ seconds.
//
// It is an error when a time is not finite or some 13 years away, or when the
// step is not above zero.
func (r *Renderer) Render(dst []complex64, w Source, startSeconds, stepSeconds float64) error {
	clear(dst)
	return r.Add(dst, w, startSeconds, stepSeconds, 1)
}

// Add adds to dst what Render would fill it with, multiplied by gain. The last
// blocks of 1.3 ms are remembered: further paths of the same transmission over
// the same span, up to 8 ms at a time, cost about half of the first.
func (r *Renderer) Add(dst []complex64, w Source, startSeconds, stepSeconds float64, gain complex128) error {
	return r.add(dst, w, PilotLevel, startSeconds, stepSeconds, gain)
}

func (r *Renderer) add(dst []complex64, source Source, dc float32, startSeconds, stepSeconds float64, gain complex128) error {
	const farthest = 1 << 52 / SymbolRateHz
	end := startSeconds + float64(len(dst))*stepSeconds
	if !(math.Abs(startSeconds) < farthest && math.Abs(end) < farthest && stepSeconds > 0) {
		return fmt.Errorf("rendering 8-VSB: %d samples from %g s in steps of %g s are out of range", len(dst), startSeconds, stepSeconds)
	}
	if r.shaper == nil {
		return nil
	}
	for n := 0; n < len(dst); {
		t := startSeconds + float64(n)*stepSeconds
		index := int64(math.Floor(t * SymbolRateHz / hopSymbols))
		left := (float64(index+1)*hopSymbols/SymbolRateHz - t) / stepSeconds
		count := max(1, int(math.Min(math.Ceil(left), float64(len(dst)-n))))
		b, err := r.block(source, dc, index)
		if err != nil {
			return fmt.Errorf("rendering 8-VSB: %w", err)
		}
		r.addBlock(dst[n:n+count], b, t, stepSeconds, gain)
		n += count
	}
	return nil
}

// addBlock adds samples whose times lie in one block.
func (r *Renderer) addBlock(dst []complex64, b *block, t, step float64, gain complex128) {
	perSymbol := float64(r.shaper.length) / blockSymbols
	position := (t*SymbolRateHz - float64(firstSymbol(b.index))) * perSymbol
	advance := step * SymbolRateHz * perSymbol
	middle := float64(r.shaper.middle) / float64(r.shaper.length) // in cycles per block sample
	phase := turn(r.pilotHz*t) * turn(middle*position) * gain
	spin := turn(r.pilotHz*step + middle*advance)
	for n := range dst {
		y := r.between.at(b.samples, position+float64(n)*advance)
		dst[n] += y * complex64(phase)
		phase *= spin
	}
}

// turn returns exp(2πi·cycles).
func turn(cycles float64) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Round(cycles)))
	return complex(cos, sin)
}

// block returns a block of the source, made now unless it is remembered.
func (r *Renderer) block(source Source, dc float32, index int64) (*block, error) {
	r.clock++
	oldest := &r.blocks[0]
	for i := range r.blocks {
		b := &r.blocks[i]
		if b.source == source && b.dc == dc && b.index == index {
			b.used = r.clock
			return b, nil
		}
		if b.used < oldest.used {
			oldest = b
		}
	}
	if oldest.samples == nil {
		oldest.samples = make([]complex64, r.shaper.length)
	}
	oldest.source = nil // until it holds what it says
	if err := r.shaper.shape(oldest.samples, source, dc, index); err != nil {
		return nil, err
	}
	oldest.source, oldest.dc, oldest.index, oldest.used = source, dc, index, r.clock
	return oldest, nil
}
