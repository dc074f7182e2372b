// Package pattern tells what a stretch of samples shows of a signal besides its
// spectrum: whether its power is steady, and whether it repeats itself. Thermal
// noise is steady and does not; much that fills a channel does not pass for
// noise in both.
package pattern

import (
	"fmt"
	"math"
	"math/bits"
	"slices"

	"rooftone/dsp/psd"
	"rooftone/dsp/robust"
)

const (
	// blockSeconds is how long the pieces are whose powers are compared: short
	// enough for the gaps between bursts, long enough to be near the mean.
	blockSeconds = 0.25e-3

	// shortestLag and longestLag bound the delays after which a signal is
	// compared with itself. Shorter ones hold echoes and the shape of the
	// spectrum; the longest useful part of an OFDM symbol in television is
	// 4.7 ms (A/322, 32K).
	shortestLag, longestLag = 40e-6, 5e-3

	// windowSeconds is the shortest stretch that is transformed at once: twice
	// the longest lag and more.
	windowSeconds = 10e-3

	// smoothHz is over how much of the spectrum its level is averaged before
	// it is divided out. What it leaves is longer than shortestLag.
	smoothHz = 25e3

	// mostBin is what one bin may count, in means of those around it: lone
	// lines would look like a signal that repeats after any delay.
	mostBin = 6
)

// Found is what samples show. The zero value says nothing was looked at.
type Found struct {
	Blocks int // pieces of 0.25 ms that were compared; 0 when there were too few

	// Restlessness is the variance of their powers over that of steady
	// Gaussian noise with the same spectrum: 1 for such noise, with a standard
	// uncertainty of √(2/Blocks).
	Restlessness float64

	// OnShare is the share of the pieces that are on, where the signal comes
	// and goes: whose power is nearer to that of the loudest than to that of
	// the quietest. 1 for a steady one.
	OnShare float64

	// RepeatSeconds is the delay between 40 µs and 5 ms after which the samples
	// are most like themselves, Likeness their correlation there, 0 to 1, with
	// their own spectrum's shape divided out, and Chance the probability that
	// noise shows as much anywhere between: 1 when nothing was compared.
	RepeatSeconds, Likeness, Chance float64
}

// Merge joins what two stretches of one tuning show.
func (f *Found) Merge(o Found) {
	n := f.Blocks + o.Blocks
	if n == 0 {
		return
	}
	a, b := float64(f.Blocks)/float64(n), float64(o.Blocks)/float64(n)
	f.Restlessness = a*f.Restlessness + b*o.Restlessness
	f.OnShare = a*f.OnShare + b*o.OnShare
	if f.Blocks == 0 || o.Blocks > 0 && o.Chance < f.Chance {
		f.RepeatSeconds, f.Likeness, f.Chance = o.RepeatSeconds, o.Likeness, o.Chance
	}
	f.Blocks = n
}

// Steady reports whether the power varies as noise's does, neither more, as a
// signal's that comes in bursts, nor less, as one's with a constant envelope.
// Of noise it is wrongly denied with a probability of less than 1e-4.
func (f *Found) Steady() bool {
	return f.Blocks == 0 || math.Abs(f.Restlessness-1) < f.scatter()
}

// scatter is by how much the restlessness of noise may differ from 1: five
// standard uncertainties, and what the density's own error does.
func (f *Found) scatter() float64 { return 5*math.Sqrt(2/float64(f.Blocks)) + 0.1 }

// Repeats reports whether the samples repeat themselves, by chance with a
// probability of less than 1e-4.
func (f *Found) Repeats() bool { return f.Blocks > 0 && f.Chance < 1e-4 }

// Finder looks at stretches of one sample rate. It is used by one goroutine at
// a time.
type Finder struct {
	rateHz float64
	long   *psd.FFT // for the delays
	short  *psd.FFT // for the pieces
	window []float64
	work   []complex64
	power  []float64 // mean power by bin
	level  []float64 // of the spectrum's surroundings, by bin
	blocks []float64
	near   []float64
	lower  []float64
}

// NewFinder returns a Finder for a sample rate in Hz.
func NewFinder(rateHz float64) (*Finder, error) {
	if !(rateHz >= 1e5 && rateHz <= 1e9) {
		return nil, fmt.Errorf("looking for patterns: a sample rate of %g Hz", rateHz)
	}
	f := &Finder{rateHz: rateHz}
	var err error
	if f.long, err = psd.NewFFT(1 << bits.Len(uint(windowSeconds*rateHz))); err != nil {
		return nil, fmt.Errorf("looking for patterns: %w", err)
	}
	if f.short, err = psd.NewFFT(1 << bits.Len(uint(blockSeconds*rateHz))); err != nil {
		return nil, fmt.Errorf("looking for patterns: %w", err)
	}
	f.window = psd.Hann.Samples(f.short.Len())
	f.work = make([]complex64, f.long.Len())
	f.power, f.level = make([]float64, f.long.Len()), make([]float64, f.long.Len())
	return f, nil
}

// Find looks at the samples of one cohesive stretch, in the band from lowHz to
// highHz from their middle: what lies beside it, such as a neighbour, does not
// count.
func (f *Finder) Find(x []complex64, lowHz, highHz float64) (Found, error) {
	out := Found{OnShare: 1, Restlessness: 1, Chance: 1}
	if err := f.findSteadiness(&out, x, lowHz, highHz); err != nil {
		return Found{}, fmt.Errorf("looking for patterns: %w", err)
	}
	if err := f.findRepeat(&out, x, lowHz, highHz); err != nil {
		return Found{}, fmt.Errorf("looking for patterns: %w", err)
	}
	return out, nil
}

// band returns the bins of a transform that a band has, counted from the lowest
// frequency of all, and of those which bin of the transform each is.
func band(size int, rateHz, lowHz, highHz float64) (first, last int, bin func(int) int) {
	first = max(0, int(math.Ceil((lowHz/rateHz+0.5)*float64(size))))
	last = min(size-1, int(math.Floor((highHz/rateHz+0.5)*float64(size))))
	return first, last, func(i int) int { return (i + size/2) & (size - 1) } // a power of two
}

// findSteadiness compares the powers that pieces have in the band. That of a
// piece of Gaussian noise with the power S in each bin has a variance of w·ΣS²,
// w being what a Hann window's bins have in common: 1 + 2·(4/9 + 1/36). A lone
// line does not vary itself, but beats with what it stands in.
func (f *Finder) findSteadiness(out *Found, x []complex64, lowHz, highHz float64) error {
	const (
		least      = 32
		inCommon   = 1 + 2*(4./9+1./36)
		narrowest  = 128 // bins: a narrow slice of a skirt with its pilot is like nothing else
		lineSpread = 1.5
	)
	size := f.short.Len()
	first, last, bin := band(size, f.rateHz, lowHz, highHz)
	n := len(x) / size
	if n < least || last-first < narrowest {
		return nil
	}
	f.blocks = f.blocks[:0]
	power := f.power[:size]
	clear(power)
	for b := range n {
		for i, v := range x[b*size : (b+1)*size] {
			w := float32(f.window[i])
			f.work[i] = complex(real(v)*w, imag(v)*w)
		}
		if err := f.short.Transform(f.work[:size], f.work[:size]); err != nil {
			return err
		}
		var sum float64
		for i := first; i <= last; i++ {
			v := f.work[bin(i)]
			p := float64(real(v)*real(v) + imag(v)*imag(v))
			power[i] += p / float64(n)
			sum += p
		}
		f.blocks = append(f.blocks, sum)
	}
	mean := robust.Mean(f.blocks)
	if !(mean > 0) {
		return nil
	}
	var variance float64
	low, high := math.Inf(1), 0.
	for _, p := range f.blocks {
		variance += (p/mean - 1) * (p/mean - 1) / float64(n-1)
		low, high = math.Min(low, p), math.Max(high, p)
	}
	var expect float64
	f.levels(power, first, last)
	for i := first; i <= last; i++ {
		level := f.level[i]
		if excess := power[i] - level; excess > 0 && power[i] > lineRatio*level {
			expect += inCommon*level*level + 2*lineSpread*excess*level
		} else {
			expect += inCommon * power[i] * power[i] / (1 + 1/float64(n))
		}
	}
	if expect /= mean * mean; !(expect > 0) {
		return nil
	}
	out.Blocks, out.Restlessness = n, variance/expect
	if out.Restlessness < 1+out.scatter() {
		return nil
	}
	out.OnShare = f.onShare(low, high, math.Sqrt(expect), out.scatter())
	return nil
}

// onShare is the share of restless pieces that are on. Where the quieter ones are
// as steady as noise, these are off, and what stands out of them is on: bursts over
// something steady. Otherwise it is those nearer to the loudest than to the
// quietest. sigma is the relative standard deviation of noise's.
func (f *Finder) onShare(low, high, sigma, scatter float64) float64 {
	const (
		quiet    = 0.85  // of the pieces
		variance = 0.641 // of a normal variate below its quantile of that
		mean     = 0.274 // by which its mean is lower, in standard deviations
		standOut = 5     // standard deviations
	)
	sorted := slices.Clone(f.blocks)
	slices.Sort(sorted)
	sorted = sorted[:int(quiet*float64(len(sorted)))]
	middle := robust.Mean(sorted)
	var spread float64
	for _, p := range sorted {
		spread += (p/middle - 1) * (p/middle - 1) / float64(len(sorted)-1)
	}
	limit := (low + high) / 2
	if spread < variance*sigma*sigma*(1+scatter) {
		limit = middle * (1 + (mean+standOut)*sigma)
	}
	on := 0
	for _, p := range f.blocks {
		if p > limit {
			on++
		}
	}
	return float64(on) / float64(len(f.blocks))
}

// lineRatio is the power of a bin over that of its surroundings from which it
// holds a line.
const lineRatio = 8

// levels fills level with the median power around each bin of a band.
func (f *Finder) levels(power []float64, first, last int) {
	const reach, step = 12, 4
	for i := first; i <= last; i += step {
		f.near = append(f.near[:0], power[max(first, i-reach):min(last+1, i+reach+1)]...)
		m := robust.Median(f.near)
		for k := i; k < min(i+step, last+1); k++ {
			f.level[k] = m
		}
	}
}

// findRepeat finds the delay of the highest correlation of the samples with
// themselves. The mean power spectrum is divided by its own level, which makes
// it that of white samples; its transform is their correlation. With v for its
// scatter about 1, noise's has the power Σv² at every delay, exponentially
// distributed. Both halves of the windows must show it, so that one burst does
// not count: the lower of two such variates exceeds x with a probability of
// exp(−2x).
func (f *Finder) findRepeat(out *Found, x []complex64, lowHz, highHz float64) error {
	size := f.long.Len()
	windows := len(x) / size
	if out.Blocks == 0 || windows < 2 {
		return nil
	}
	from, to := int(math.Ceil(shortestLag*f.rateHz)), min(int(longestLag*f.rateHz), size/2)
	if cap(f.lower) < to-from+1 {
		f.lower = make([]float64, to-from+1)
	}
	lower := f.lower[:to-from+1]
	for i := range lower {
		lower[i] = math.Inf(1)
	}
	var likeness float64
	for half := range 2 {
		total, square, err := f.correlate(x, lowHz, highHz, half, windows)
		if err != nil || !(square > 0) {
			return err
		}
		for i := range lower {
			v := f.work[from+i]
			lower[i] = math.Min(lower[i], float64(real(v)*real(v)+imag(v)*imag(v))/square)
		}
		likeness += math.Sqrt(square) / total / 2
	}
	best := 0
	for i, v := range lower {
		if v > lower[best] {
			best = i
		}
	}
	out.RepeatSeconds = float64(from+best) / f.rateHz
	out.Likeness = math.Sqrt(lower[best]) * likeness
	out.Chance = math.Min(1, float64(len(lower))*math.Exp(-2*lower[best]))
	return nil
}

// correlate fills work with the correlation of every second window's samples
// with themselves, from the given one on. It returns the number of bins that it
// rests on, and what noise's has at each delay; 0 where the band is too narrow.
func (f *Finder) correlate(x []complex64, lowHz, highHz float64, half, windows int) (total, square float64, err error) {
	size := f.long.Len()
	first, last, bin := band(size, f.rateHz, lowHz, highHz)
	reach := int(smoothHz / f.rateHz * float64(size))
	if last-first < 4*reach {
		return 0, 0, nil
	}
	clear(f.power)
	for w := half; w < windows; w += 2 {
		if err := f.long.Transform(f.work, x[w*size:(w+1)*size]); err != nil {
			return 0, 0, err
		}
		for i := first; i <= last; i++ {
			v := f.work[bin(i)]
			f.power[i] += float64(real(v)*real(v) + imag(v)*imag(v))
		}
	}
	f.smooth(first, last, reach)
	clear(f.work)
	for i := first; i <= last; i++ {
		v := 0.
		if f.level[i] > 0 {
			v = math.Min(f.power[i]/f.level[i], mostBin) - 1
		}
		f.work[bin(i)] = complex(float32(v), 0)
		total += v + 1
		square += v * v
	}
	return total, square, f.long.Inverse(f.work, f.work)
}

// smooth fills level with the means of power over reach bins on either side,
// fewer at the band's ends.
func (f *Finder) smooth(first, last, reach int) {
	var sum float64
	low, high := first, first-1 // what sum holds
	for i := first; i <= last; i++ {
		for ; high < min(last, i+reach); high++ {
			sum += f.power[high+1]
		}
		for ; low < i-reach; low++ {
			sum -= f.power[low]
		}
		f.level[i] = sum / float64(high-low+1)
	}
}
