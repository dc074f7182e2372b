package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
)

const (
	// examined is how many samples of a recording are looked at to find its
	// full scale, spread over all of it; of a stream, examinedBytes from its
	// beginning.
	examined      = 4 << 20
	examinedBytes = 1 << 20

	// faintest is the largest value, 60 dB below 1, from which samples are
	// still taken for ones with full scale 1.
	faintest = 1.0 / (1 << 10)

	// outlier is how many powers of two above the median of all values one may
	// lie that is not taken for damage.
	outlier = 16
)

// levels are the values that a recording in floating point has: what its full
// scale is found from.
type levels struct {
	count   [2048]int64 // by the binary exponent of a float64; zeros left out
	largest [2048]float64
	whole   bool // all are multiples of 1/2: a converter's steps
	up      pile
	down    pile // of the values times −1
}

func newLevels() *levels {
	return &levels{whole: true, up: newPile(), down: newPile()}
}

// take adds a value. NaN and infinity are passed over.
func (l *levels) take(v float64) {
	e := math.Float64bits(v) >> 52 & 0x7ff
	if e == 0x7ff {
		return
	}
	if v != 0 {
		l.count[e]++
		l.largest[e] = max(l.largest[e], math.Abs(v))
		l.whole = l.whole && 2*v == math.Trunc(2*v)
	}
	l.up.take(v, 1)
	l.down.take(-v, 1)
}

// join adds the values of another recording.
func (l *levels) join(o *levels) {
	for e := range l.count {
		l.count[e] += o.count[e]
		l.largest[e] = max(l.largest[e], o.largest[e])
	}
	l.whole = l.whole && o.whole
	l.up.join(o.up)
	l.down.join(o.down)
}

// peak returns the largest magnitude but for what lies so far above the rest
// that it must be damage; 0 when there is none.
func (l *levels) peak() float64 {
	var total, below int64
	for _, n := range l.count {
		total += n
	}
	median := 0
	for e, n := range l.count {
		if below += n; 2*below >= total {
			median = e
			break
		}
	}
	var peak float64
	for e := 0; e <= min(median+outlier, len(l.largest)-1); e++ {
		peak = max(peak, l.largest[e])
	}
	return peak
}

// scale finds what stands for full scale. Values that reach no further than 1,
// or a little above it as a filter makes them, have full scale 1; so have all
// zeros. Values that are a converter's steps have that of the narrowest usual
// converter that holds them; all others the next power of two.
func (l *levels) scale() float64 {
	p := l.peak()
	if p == 0 || p >= faintest && p <= math.Sqrt2 {
		return 1
	}
	if l.whole && p > 1 {
		for _, full := range []float64{1 << 7, 1 << 11, 1 << 15, 1 << 23, 1 << 31} {
			if p <= full {
				return full
			}
		}
	}
	return math.Exp2(math.Ceil(math.Log2(p)))
}

// rails returns where the values pile up below and above, as a converter's do
// that was driven beyond its range; infinite where they do not.
func (l *levels) rails() (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	peak := l.peak()
	if l.up.risen() && l.up.top <= peak {
		high = l.up.top
	}
	if l.down.risen() && l.down.top <= peak {
		low = -l.down.top
	}
	return low, high
}

// pile counts how often the largest and the second largest value come.
type pile struct {
	top, second   float64
	tops, seconds int64
}

func newPile() pile { return pile{top: math.Inf(-1), second: math.Inf(-1)} }

func (p *pile) take(v float64, n int64) {
	switch {
	case v < p.second || n == 0:
	case v > p.top:
		*p = pile{v, p.top, n, p.tops}
	case v == p.top:
		p.tops += n
	case v > p.second:
		p.second, p.seconds = v, n
	default:
		p.seconds += n
	}
}

func (p *pile) join(o pile) {
	p.take(o.top, o.tops)
	p.take(o.second, o.seconds)
}

// risen reports whether the largest value comes much more often than the one
// before it. The tail of noise grows thinner towards its end; a steady tone in
// coarse steps has 1/(√2−1) = 2.4 times as many of its largest value at the
// most; what a converter cut off stands there all at once: of noise whose rail
// is k standard deviations out, 127/k² times as many in 8 bits, and more in
// finer ones.
func (p *pile) risen() bool { return p.top > 0 && p.tops >= 8 && p.tops > 4*p.seconds }

// settle finds full scale and rails of samples in floating point.
func (r *Reader) settle(ctx context.Context) error {
	if !r.format.float {
		return nil
	}
	l, err := r.examine(ctx)
	if err != nil {
		return err
	}
	r.levels = l
	r.setLevels(l)
	return nil
}

// setLevels has the samples scaled by what all of some values say. Those that
// this program wrote have full scale 1, and rails there if not before.
func (r *Reader) setLevels(l *levels) {
	low, high := l.rails()
	if r.scale = 1; r.own {
		low, high = max(low, -1), min(high, 1)
	} else {
		r.scale = l.scale()
	}
	r.format = r.format.scaled(r.scale, low, high)
}

// examine looks at the values of a recording.
func (r *Reader) examine(ctx context.Context) (*levels, error) {
	l := newLevels()
	if s, ok := r.data.(*streamData); ok {
		b, err := s.peekAt(ctx, r.spans[0].offset, examinedBytes)
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", r.path, err)
		}
		r.format.values(append([]byte(nil), b...), l.take)
		return l, nil
	}
	var total int64
	for _, s := range r.spans {
		total += s.Samples
	}
	chunk := int64(chunkSamples)
	step := chunk
	if total > examined {
		chunk = max(256, min(chunkSamples/4, examined/int64(len(r.spans))))
		step = max(chunk, int64(float64(total)/examined*float64(chunk)))
	}
	for _, s := range r.spans {
		for at := int64(0); at < s.Samples; at += step {
			raw := r.buffer[:min(chunk, s.Samples-at)*r.format.size()]
			n, err := r.data.readAt(ctx, raw, s.offset+at*r.format.size())
			r.format.values(raw[:n], l.take)
			if err != nil && !errors.Is(err, io.EOF) {
				return nil, fmt.Errorf("reading %s: %w", r.path, err)
			}
		}
	}
	return l, nil
}

// FullScale returns the value in the file that stands for full scale, 1 where
// the format tells that by itself, and the largest that was found there.
func (r *Reader) FullScale() (full, largest float64) {
	if r.levels == nil {
		return r.scale, 1
	}
	return r.scale, r.levels.peak()
}
