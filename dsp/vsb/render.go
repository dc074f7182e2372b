package vsb

import (
	"fmt"
	"math"

	"rooftone/dsp/render"
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
	limits render.Blocks
	blocks *render.Renderer[carried] // nil when the slice misses the channel
}

// carried is a transmission with what its pilot raises the symbols by.
type carried struct {
	source Source
	dc     float32
}

// NewRenderer returns a Renderer for slices of the given sample rate whose
// centre is offsetHz above the channel's lower edge. The slice may reach
// beyond the channel or miss it. Its own filter is flat to ±0.46 of the rate
// and has no response beyond ±0.54, so what folds back stays in the outermost
// 4 % on either side.
//
// The rate must be from 100 kHz to 1 GHz and the centre within 1 THz.
func NewRenderer(rateHz, offsetHz float64) (*Renderer, error) {
	return NewRendererThrough(render.Sharp(rateHz), rateHz, offsetHz)
}

// NewRendererThrough is NewRenderer with a slice's own filter, and all that it
// lets fold.
func NewRendererThrough(filter render.Filter, rateHz, offsetHz float64) (*Renderer, error) {
	if !(rateHz >= 1e5 && rateHz <= 1e9) {
		return nil, fmt.Errorf("rendering 8-VSB: a sample rate of %g Hz is not between 100 kHz and 1 GHz", rateHz)
	}
	if !(math.Abs(offsetHz) <= 1e12) {
		return nil, fmt.Errorf("rendering 8-VSB: a slice centre %g Hz from the channel's edge is too far off", offsetHz)
	}
	shaper, err := newShaper(filter, offsetHz)
	if err != nil {
		return nil, fmt.Errorf("rendering 8-VSB: %w", err)
	}
	r := &Renderer{limits: render.Blocks{
		RateHz: SymbolRateHz, Units: blockSymbols, Guard: guardSymbols,
		TurnHz: PilotOffsetHz - offsetHz, Memory: cachedBlocks, Subject: "rendering 8-VSB",
	}}
	if shaper != nil {
		seen := r.limits
		seen.Length, seen.Middle = shaper.length, shaper.middle
		r.blocks = render.New(seen, func(dst []complex64, key carried, index int64) error {
			return shaper.shape(dst, key.source, key.dc, seen.First(index))
		})
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
	if r.blocks == nil {
		return r.limits.Check(len(dst), startSeconds, stepSeconds)
	}
	return r.blocks.Add(dst, carried{source, dc}, startSeconds, stepSeconds, gain)
}
