package ofdm

import (
	"errors"
	"math"
	"slices"
)

// peak is a place that looks like the bootstrap.
type peak struct {
	height float64 // power of the correlation, relative to its mean in noise
	block  int
	delay  int // in short samples after the margin
	shift  int // in bins
}

const (
	// sampledLevels is of how many samples the median is taken.
	sampledLevels = 1024

	// loudest is how far a sample's power may be above the mean power that
	// Gaussian samples of the same median have. Of Gaussian samples one in
	// 3000 is above.
	loudest = 8
)

// analyse makes the whitened spectra of all blocks of the stay. It is quiet
// when there is nothing at all in the samples.
func (s *Searcher) analyse(x []complex64) (quiet bool, err error) {
	b := &s.place
	limit := s.limit(x)
	s.starts = s.starts[:0]
	clear(s.density)
	for start := 0; ; start += s.hop() {
		start = max(0, min(start, len(x)-b.length))
		part := x[start:min(start+b.length, len(x))]
		clear(s.block[clip(s.block, part, limit):])
		s.fade(s.block[:len(part)])
		if err := s.forward.Transform(s.block, s.block); err != nil {
			return false, err
		}
		spectrum := s.spectrum(len(s.starts))
		s.starts = append(s.starts, start)
		for i := range spectrum {
			v := s.block[(b.first-b.reach+i)&(b.length-1)]
			spectrum[i] = v
			re, im := float64(real(v)), float64(imag(v))
			s.density[i] += re*re + im*im
		}
		if start+b.length >= len(x) {
			break
		}
	}
	mean := 0.0
	for _, v := range s.density {
		mean += v / float64(len(s.density))
	}
	if mean == 0 {
		return true, nil
	}
	if math.IsNaN(mean) || math.IsInf(mean, 0) {
		return false, errors.New("there are samples that are no numbers")
	}
	s.whiten(faintestShare * mean)
	return false, nil
}

func (s *Searcher) spectrum(block int) []complex64 {
	return s.spectra[block*s.place.stored:][:s.place.stored]
}

// limit returns the power above which samples are taken for impulses: the
// reference, whose own power is uneven, would find itself in a few strong ones.
func (s *Searcher) limit(x []complex64) float32 {
	s.levels = s.levels[:0]
	for i := range sampledLevels {
		v := x[i*(len(x)-1)/(sampledLevels-1)]
		s.levels = append(s.levels, real(v)*real(v)+imag(v)*imag(v))
	}
	slices.Sort(s.levels)
	return loudest / math.Ln2 * s.levels[sampledLevels/2]
}

// clip copies src to dst with samples brought down to a power of limit, and
// returns how many there were. A limit of 0 leaves all as it is.
func clip(dst, src []complex64, limit float32) int {
	n := copy(dst, src)
	if limit <= 0 {
		return n
	}
	for i, v := range dst[:n] {
		if p := real(v)*real(v) + imag(v)*imag(v); p > limit {
			g := float32(math.Sqrt(float64(limit / p)))
			dst[i] = complex(g*real(v), g*imag(v))
		}
	}
	return n
}

// fade lets a block begin and end softly: a strong tone would ring from a hard
// edge, and stand there as an impulse once the rest of it is whitened away.
func (s *Searcher) fade(block []complex64) {
	for i, g := range s.ramp {
		for _, at := range [2]int{i, len(block) - 1 - i} {
			v := block[at]
			block[at] = complex(g*real(v), g*imag(v))
		}
	}
}

// whiten divides the spectra by the root of their smoothed density.
func (s *Searcher) whiten(faintest float64) {
	n := len(s.density)
	const half = smoothedBins / 2
	var sum float64
	for i := range min(half, n) {
		sum += s.density[i]
	}
	count := min(half, n)
	for i := range s.weights {
		if in := i + half; in < n {
			sum += s.density[in]
			count++
		}
		if out := i - half - 1; out >= 0 {
			sum -= s.density[out]
			count--
		}
		s.weights[i] = float32(1 / math.Sqrt(math.Max(sum/float64(count), faintest)))
	}
	for block := range s.starts {
		spectrum := s.spectrum(block)
		for i, w := range s.weights {
			v := spectrum[i]
			spectrum[i] = complex(w*real(v), w*imag(v))
		}
	}
}

// measureLoudness sets, for each delay of each block, the mean power of the
// whitened samples that a reference there would lie on.
func (s *Searcher) measureLoudness() error {
	width := (s.known-1)/s.place.ratio() + 1
	from := s.margin / s.place.ratio()
	per := 1 / float64(width)
	for block := range s.starts {
		if err := s.samples(s.turned, block, 0); err != nil {
			return err
		}
		for i, v := range s.turned {
			re, im := float64(real(v)), float64(imag(v))
			s.sums[i+1] = s.sums[i] + re*re + im*im
		}
		loud := s.loudness(block)
		for i := range loud {
			loud[i] = float32((s.sums[from+i+width] - s.sums[from+i]) * per)
		}
	}
	return nil
}

func (s *Searcher) loudness(block int) []float32 {
	return s.loud[block*s.delays():][:s.delays()]
}

// samples sets dst to a block's whitened samples in the band, for a reference
// that has moved by shift bins: the lowest bin of the band becomes 0 Hz.
func (s *Searcher) samples(dst []complex64, block, shift int) error {
	from := s.place.reach + shift
	clear(dst[copy(dst, s.spectrum(block)[from:from+s.place.bins]):])
	return s.inverse.Inverse(dst, dst)
}

// prepare weights the reference for a shift.
func (s *Searcher) prepare(shift int) {
	s.shift, s.power = shift, 0
	weights := s.weights[s.place.reach+shift:]
	for i, v := range s.template {
		w := weights[i]
		v = complex(w*real(v), -w*imag(v))
		s.matched[i] = v
		s.power += float64(real(v)*real(v) + imag(v)*imag(v))
	}
}

// try correlates all blocks with the reference at a shift, keeps the best of
// each and returns the best of all.
func (s *Searcher) try(shift, samples int) (best peak, err error) {
	s.prepare(shift)
	// The whitened bins have all the same power v: a sum over them weighted
	// with the reference has v·Σ|matched|², and the samples have v·bins.
	scale := float32(float64(s.place.bins) / s.power)
	for block, start := range s.starts {
		spectrum := s.spectrum(block)[s.place.reach+shift:][:len(s.matched)]
		for i, v := range s.matched {
			s.turned[i] = spectrum[i] * v
		}
		clear(s.turned[len(s.matched):])
		if err := s.inverse.Inverse(s.turned, s.turned); err != nil {
			return best, err
		}
		loud := s.loudness(block)
		last := (samples - s.least() - start) / s.place.ratio()
		loud = loud[:min(len(loud), last+1)]
		turned := s.turned[s.margin/s.place.ratio():][:len(loud)]
		var height float32
		delay := 0
		for i, l := range loud {
			v := turned[i]
			p := real(v)*real(v) + imag(v)*imag(v)
			if p > height*l {
				height, delay = p/l, i
			}
		}
		p := peak{height: float64(height * scale), block: block, delay: delay, shift: shift}
		if s.found[block] = p; p.height > best.height {
			best = p
		}
	}
	return best, nil
}

// freedom is the number of independent complex values under the reference.
func (s *Searcher) freedom() float64 {
	return float64(s.place.bins) / float64(s.place.length) * float64(s.known)
}

// falseAlarm bounds the probability that any of so many heights in noise is as
// great. The share of the power that a fixed direction takes of m independent
// complex Gaussian values is beyond r with a probability of (1−r)^(m−1).
func (s *Searcher) falseAlarm(height, trials float64) float64 {
	m := s.freedom()
	if height >= m {
		return 0
	}
	return math.Min(1, trials*math.Exp((m-1)*math.Log1p(-height/m)))
}
