package ofdm

import (
	"fmt"
	"math"

	"rooftone/dsp/render"
)

// cachedBlocks is how many blocks of a transmission a Renderer remembers.
const cachedBlocks = 4

// Renderer makes the samples that a receiver has of a transmission when it
// sees a channel, or a part of it, through a slice of the spectrum. It is used
// by one goroutine at a time and holds some 2 MB, 6 MB for a whole channel.
//
// A receiver whose clock is off by e has slices that begin at other places and
// samples at other times than it believes: for a slice that it calls centred
// on c hertz, at a rate r, give NewRenderer a centre that is c·e higher and
// Render a step of 1/(r·(1+e)).
type Renderer struct {
	limits render.Blocks
	blocks *render.Renderer[*Waveform] // nil when the slice misses the channel
}

// NewRenderer returns a Renderer for slices of the given sample rate whose
// centre is offsetHz above the channel's lower edge. The slice may reach
// beyond the channel or miss it. Its own filter is flat to ±0.46 of the rate
// and has no response beyond ±0.54, so what folds back stays in the outermost
// 4 % on either side.
//
// The rate must be from 500 kHz to 1 GHz and the centre within 1 THz.
func NewRenderer(rateHz, offsetHz float64) (*Renderer, error) {
	return NewRendererThrough(render.Sharp(rateHz), rateHz, offsetHz)
}

// NewRendererThrough is NewRenderer with a slice's own filter, and all that it
// lets fold.
func NewRendererThrough(filter render.Filter, rateHz, offsetHz float64) (*Renderer, error) {
	if !(rateHz >= 5e5 && rateHz <= 1e9) {
		return nil, fmt.Errorf("rendering ATSC 3.0: a sample rate of %g Hz is not between 500 kHz and 1 GHz", rateHz)
	}
	if !(math.Abs(offsetHz) <= 1e12) {
		return nil, fmt.Errorf("rendering ATSC 3.0: a slice centre %g Hz from the channel's edge is too far off", offsetHz)
	}
	shaper, err := newShaper(filter, offsetHz)
	if err != nil {
		return nil, fmt.Errorf("rendering ATSC 3.0: %w", err)
	}
	r := &Renderer{limits: render.Blocks{
		RateHz: BodyRateHz, Units: blockSamples, Guard: guardSamples,
		TurnHz: ChannelWidthHz/2 - offsetHz, Memory: cachedBlocks, Subject: "rendering ATSC 3.0",
	}}
	if shaper != nil {
		seen := r.limits
		seen.Length, seen.Middle = shaper.length, shaper.middle
		r.blocks = render.New(seen, func(dst []complex64, w *Waveform, index int64) error {
			return shaper.shape(dst, w, seen.First(index))
		})
	}
	return r, nil
}

// Render fills dst with the samples of w at the times startSeconds +
// n·stepSeconds, centred on the slice. The whole transmission has an average
// power of 1 before the slice's filter. The phase that turns its middle to the
// slice's centre is 0 at time 0.
//
// Any times may be asked for in any order; a span rendered in pieces is the
// span rendered at once. The error of the samples is below −90 dB from 2 MS/s
// up and below −80 dB at 500 kS/s; far from time 0 the rounding of times
// in a float64 grows to more: to −85 dB at 10⁴ seconds.
//
// It is an error when a time is not finite or some 20 years away, or when the
// step is not above zero.
func (r *Renderer) Render(dst []complex64, w *Waveform, startSeconds, stepSeconds float64) error {
	clear(dst)
	return r.Add(dst, w, startSeconds, stepSeconds, 1)
}

// Add adds to dst what Render would fill it with, multiplied by gain. The last
// blocks of 2 ms are remembered: further paths of the same transmission over
// the same span, up to 6 ms at a time, cost less than the first.
func (r *Renderer) Add(dst []complex64, w *Waveform, startSeconds, stepSeconds float64, gain complex128) error {
	if r.blocks == nil {
		return r.limits.Check(len(dst), startSeconds, stepSeconds)
	}
	return r.blocks.Add(dst, w, startSeconds, stepSeconds, gain)
}
