// Package pattern tells what a stretch of samples shows of a signal besides its
// spectrum: whether its power is steady, and whether it repeats itself. Thermal
// noise is steady and does not; much that fills a channel does not pass for
// noise in both.
package pattern

import (
	"fmt"
	"math"
	"math/bits"

	"rooftone/dsp/psd"
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
	fft    *psd.FFT
	work   []complex64
	power  []float64
	level  []float64
	blocks []float64
}

// NewFinder returns a Finder for a sample rate in Hz.
func NewFinder(rateHz float64) (*Finder, error) {
	if !(rateHz >= 1e5 && rateHz <= 1e9) {
		return nil, fmt.Errorf("looking for patterns: a sample rate of %g Hz", rateHz)
	}
	n := 1 << bits.Len(uint(windowSeconds*rateHz))
	fft, err := psd.NewFFT(n)
	if err != nil {
		return nil, fmt.Errorf("looking for patterns: %w", err)
	}
	return &Finder{rateHz: rateHz, fft: fft, work: make([]complex64, n), power: make([]float64, n), level: make([]float64, n)}, nil
}

// Find looks at the samples of one cohesive stretch. density is their power
// density from −RateHz/2 up, in any unit.
func (f *Finder) Find(x []complex64, density []float64) (Found, error) {
	out := Found{OnShare: 1, Restlessness: 1, Chance: 1}
	f.findSteadiness(&out, x, density)
	if err := f.findRepeat(&out, x); err != nil {
		return Found{}, fmt.Errorf("looking for patterns: %w", err)
	}
	return out, nil
}

// findSteadiness compares the powers of pieces. That of a piece of length T of
// Gaussian noise with the density S has a variance of ∫S²/T over its squared
// mean of (∫S)².
func (f *Finder) findSteadiness(out *Found, x []complex64, density []float64) {
	const least = 32
	size := max(1, int(blockSeconds*f.rateHz))
	n := len(x) / size
	if n < least || len(density) == 0 {
		return
	}
	f.blocks = f.blocks[:0]
	var mean float64
	for b := range n {
		var p float64
		for _, v := range x[b*size : (b+1)*size] {
			p += float64(real(v)*real(v) + imag(v)*imag(v))
		}
		f.blocks = append(f.blocks, p)
		mean += p / float64(n)
	}
	if !(mean > 0) {
		return
	}
	var variance, first, second float64
	low, high := math.Inf(1), 0.
	for _, p := range f.blocks {
		variance += (p/mean - 1) * (p/mean - 1) / float64(n-1)
		low, high = math.Min(low, p), math.Max(high, p)
	}
	step := f.rateHz / float64(len(density))
	for _, d := range density {
		first += d * step
		second += d * d * step
	}
	expect := second / (first * first) / (float64(size) / f.rateHz)
	if !(expect > 0) {
		return
	}
	out.Blocks, out.Restlessness = n, variance/expect
	if out.Restlessness < 1+out.scatter() {
		return
	}
	on := 0
	for _, p := range f.blocks {
		if p > (low+high)/2 {
			on++
		}
	}
	out.OnShare = float64(on) / float64(n)
}

// findRepeat finds the delay of the highest correlation of the samples with
// themselves. The mean power spectrum is divided by its own level, which makes
// it that of white samples; its transform is their correlation. Over n values
// in all that of noise is |r|² = E/n with E exponential of mean 1.
func (f *Finder) findRepeat(out *Found, x []complex64) error {
	size := f.fft.Len()
	windows := len(x) / size
	if out.Blocks == 0 || windows == 0 {
		return nil
	}
	clear(f.power)
	for w := range windows {
		if err := f.fft.Transform(f.work, x[w*size:(w+1)*size]); err != nil {
			return err
		}
		for i, v := range f.work {
			f.power[i] += float64(real(v)*real(v) + imag(v)*imag(v))
		}
	}
	f.smooth(int(smoothHz / f.rateHz * float64(size)))
	var total, square float64
	for i, p := range f.power {
		v := 0.
		if f.level[i] > 0 {
			v = math.Min(p/f.level[i], mostBin) - 1
		}
		f.work[i] = complex(float32(v), 0)
		total += v + 1
		square += v * v
	}
	if err := f.fft.Inverse(f.work, f.work); err != nil {
		return err
	}
	first, last := int(math.Ceil(shortestLag*f.rateHz)), min(int(longestLag*f.rateHz), size/2)
	best, most := 0, 0.
	for lag := first; lag <= last; lag++ {
		v := f.work[lag]
		if p := float64(real(v)*real(v) + imag(v)*imag(v)); p > most {
			best, most = lag, p
		}
	}
	if !(square > 0) || best == 0 {
		return nil
	}
	// Noise's scatter about 1 gives every delay this power on average.
	out.RepeatSeconds = float64(best) / f.rateHz
	out.Likeness = math.Sqrt(most) / total
	out.Chance = math.Min(1, float64(last-first+1)*math.Exp(-most/square))
	return nil
}

// smooth fills level with the means of power over reach bins on either side,
// going round.
func (f *Finder) smooth(reach int) {
	n := len(f.power)
	reach = max(1, min(reach, n/4))
	var sum float64
	for i := -reach; i <= reach; i++ {
		sum += f.power[(i+n)%n]
	}
	for i := range f.level {
		f.level[i] = sum / float64(2*reach+1)
		sum += f.power[(i+reach+1)%n] - f.power[(i-reach+n)%n]
	}
}
