// Package render makes the samples of a transmission that a slice of the
// spectrum sees, at any times, from blocks of it that are made one by one: what
// the waveforms of different standards have in common.
package render

import (
	"fmt"
	"math"
)

// A slice's own filter passes up to PassEdge of the sample rate on either side,
// and nothing from StopEdge on: what folds back stays in the outermost 4 %.
const (
	PassEdge = 0.46
	StopEdge = 0.54
)

// ShortestBlock is how many samples a block of 16 guards must have at least,
// so that a guard still holds an Interpolator's taps.
const ShortestBlock = 256

// Edge is the amplitude at x of a filter that is 1 up to pass and falls to 0 at
// stop as a raised cosine does.
func Edge(x, pass, stop float64) float64 {
	switch x = (x - pass) / (stop - pass); {
	case x <= 0:
		return 1
	case x < 1:
		return 0.5 + 0.5*math.Cos(math.Pi*x)
	}
	return 0
}

// Filter is what a slice's filters make of an amplitude at an offset from its
// middle. What they let through beyond half the sample rate folds back.
type Filter struct {
	Amplitude func(offsetHz float64) float64
	ReachHz   float64 // beyond it nothing comes through
}

// Sharp is flat to PassEdge of the sample rate and has no response beyond
// StopEdge.
func Sharp(rateHz float64) Filter {
	return Filter{
		Amplitude: func(offsetHz float64) float64 { return Edge(math.Abs(offsetHz)/rateHz, PassEdge, StopEdge) },
		ReachHz:   StopEdge * rateHz,
	}
}

// turn returns exp(2πi·cycles).
func turn(cycles float64) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Round(cycles)))
	return complex(cos, sin)
}

// Blocks says how a transmission is cut into blocks. One of index i begins with
// the unit i·(Units − 2·Guard) − Guard; its first and its last Guard units are
// in it only for what filters smear over them.
type Blocks struct {
	RateHz       float64 // of the units that a transmission is made of: symbols, or samples
	Units, Guard int

	Length  int     // samples of a block as it is made, a power of two
	Middle  int     // the bin of a block's transform that its samples have at 0 Hz
	TurnHz  float64 // where bin 0 lies, from the slice's centre
	Memory  int     // how many blocks are remembered
	Subject string  // of errors, such as "rendering 8-VSB"
}

func (b Blocks) hop() int { return b.Units - 2*b.Guard }

// First is the unit with which a block begins.
func (b Blocks) First(index int64) int64 { return index*int64(b.hop()) - int64(b.Guard) }

// Renderer makes samples of transmissions that are told apart by a key. It is
// used by one goroutine at a time.
type Renderer[K comparable] struct {
	Blocks
	fill    func(dst []complex64, key K, index int64) error
	between *Interpolator
	blocks  []block[K]
	clock   uint64
}

type block[K comparable] struct {
	key     K
	index   int64
	used    uint64 // when, on the Renderer's clock; 0 while it holds nothing
	samples []complex64
}

// New returns a Renderer of blocks that fill writes: dst has b.Length samples,
// and content up to WidestContent cycles a sample.
func New[K comparable](b Blocks, fill func(dst []complex64, key K, index int64) error) *Renderer[K] {
	return &Renderer[K]{Blocks: b, fill: fill, between: NewInterpolator(), blocks: make([]block[K], b.Memory)}
}

// Add adds to dst the samples at the times startSeconds + n·stepSeconds,
// multiplied by gain. Any times may be asked for in any order; a span made in
// pieces is the span made at once.
//
// It is an error when a time is not finite or 2⁵² units away, or when the step
// is not above zero.
func (r *Renderer[K]) Add(dst []complex64, key K, startSeconds, stepSeconds float64, gain complex128) error {
	if err := r.Check(len(dst), startSeconds, stepSeconds); err != nil {
		return err
	}
	hop := float64(r.hop())
	for n := 0; n < len(dst); {
		t := startSeconds + float64(n)*stepSeconds
		index := int64(math.Floor(t * r.RateHz / hop))
		left := (float64(index+1)*hop/r.RateHz - t) / stepSeconds
		count := max(1, int(math.Min(math.Ceil(left), float64(len(dst)-n))))
		b, err := r.block(key, index)
		if err != nil {
			return fmt.Errorf("%s: %w", r.Subject, err)
		}
		r.addBlock(dst[n:n+count], b, t, stepSeconds, gain)
		n += count
	}
	return nil
}

// Check is Add's error for times that cannot be made.
func (b Blocks) Check(count int, startSeconds, stepSeconds float64) error {
	farthest := 1 << 52 / b.RateHz
	end := startSeconds + float64(count)*stepSeconds
	if !(math.Abs(startSeconds) < farthest && math.Abs(end) < farthest && stepSeconds > 0) {
		return fmt.Errorf("%s: %d samples from %g s in steps of %g s are out of range", b.Subject, count, startSeconds, stepSeconds)
	}
	return nil
}

// addBlock adds samples whose times lie in one block.
func (r *Renderer[K]) addBlock(dst []complex64, b *block[K], t, step float64, gain complex128) {
	perUnit := float64(r.Length) / float64(r.Units)
	position := (t*r.RateHz - float64(r.First(b.index))) * perUnit
	advance := step * r.RateHz * perUnit
	middle := float64(r.Middle) / float64(r.Length) // in cycles per block sample
	phase := turn(r.TurnHz*t) * turn(middle*position) * gain
	spin := turn(r.TurnHz*step + middle*advance)
	for n := range dst {
		y := r.between.At(b.samples, position+float64(n)*advance)
		dst[n] += y * complex64(phase)
		phase *= spin
	}
}

// block returns a block, made now unless it is remembered.
func (r *Renderer[K]) block(key K, index int64) (*block[K], error) {
	r.clock++
	oldest := &r.blocks[0]
	for i := range r.blocks {
		b := &r.blocks[i]
		if b.used > 0 && b.key == key && b.index == index {
			b.used = r.clock
			return b, nil
		}
		if b.used < oldest.used {
			oldest = b
		}
	}
	if oldest.samples == nil {
		oldest.samples = make([]complex64, r.Length)
	}
	oldest.used = 0 // until it holds what it says
	if err := r.fill(oldest.samples, key, index); err != nil {
		return nil, err
	}
	oldest.key, oldest.index, oldest.used = key, index, r.clock
	return oldest, nil
}
