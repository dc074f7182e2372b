package air

import (
	"fmt"
	"math"

	"rooftone/dsp/psd"
)

// Shaper is a source of stationary complex Gaussian noise of any power
// spectrum, such as a flat-topped block of many carriers. It makes blocks with
// a random spectrum and joins them by half-overlapping windows whose squares
// add to 1, so the spectrum wanted is blurred by one such window: a few bins
// wide, 24 dB down at 2 bins and falling with the fourth power beyond.
type Shaper struct {
	noise  *Noise
	fft    *psd.FFT
	gain   []float32 // of each bin
	window []float32
	block  []complex64
	tail   []complex64 // the second half of the block before, windowed
	ready  []complex64 // what is finished and not yet handed out
	left   []complex64
}

// NewShaper returns a source whose spectrum is resolved to 1/n of the sample
// rate; n is a power of two from 4 to 2²⁰. density is the power density at a
// frequency from −1/2 to 1/2 cycles per sample; the mean power is its
// integral. The seed begins the sequence.
func NewShaper(n int, seed uint64, density func(cyclesPerSample float64) float64) (*Shaper, error) {
	if n < 4 || n > 1<<20 {
		return nil, fmt.Errorf("shaping noise with %d points: must be from 4 to %d", n, 1<<20)
	}
	fft, err := psd.NewFFT(n)
	if err != nil {
		return nil, fmt.Errorf("shaping noise: %w", err)
	}
	s := &Shaper{
		noise: NewNoise(seed), fft: fft,
		gain: make([]float32, n), window: make([]float32, n),
		block: make([]complex64, n), tail: make([]complex64, n/2), left: make([]complex64, n/2),
	}
	for k := range s.window {
		s.window[k] = float32(math.Sin(math.Pi * (float64(k) + 0.5) / float64(n)))
	}
	return s, s.Shape(seed, density)
}

// Shape begins the sequence of the given seed with another density.
func (s *Shaper) Shape(seed uint64, density func(cyclesPerSample float64) float64) error {
	n := len(s.gain)
	for k := range s.gain {
		f := float64(k) / float64(n)
		if k >= n/2 {
			f--
		}
		d := density(f)
		if !(d >= 0) || math.IsInf(d, 0) {
			return fmt.Errorf("shaping noise: density %g at %g cycles per sample", d, f)
		}
		s.gain[k] = float32(math.Sqrt(d / float64(n)))
	}
	return s.Seed(seed)
}

// Seed begins the sequence of the given seed.
func (s *Shaper) Seed(seed uint64) error {
	s.noise.Seed(seed)
	// The first half block overlaps what was before the seed: pass it over.
	if err := s.turn(); err != nil {
		return err
	}
	s.ready = nil
	return nil
}

// Add adds the next len(dst) samples to dst.
func (s *Shaper) Add(dst []complex64) error {
	for len(dst) > 0 {
		if len(s.ready) == 0 {
			if err := s.turn(); err != nil {
				return err
			}
		}
		n := min(len(dst), len(s.ready))
		for k, z := range s.ready[:n] {
			dst[k] += z
		}
		dst, s.ready = dst[n:], s.ready[n:]
	}
	return nil
}

// turn makes one more block.
func (s *Shaper) turn() error {
	s.noise.Fill(s.block, 1)
	for k, g := range s.gain {
		s.block[k] = complex(g*real(s.block[k]), g*imag(s.block[k]))
	}
	if err := s.fft.Inverse(s.block, s.block); err != nil {
		return err
	}
	for k, w := range s.window {
		s.block[k] = complex(w*real(s.block[k]), w*imag(s.block[k]))
	}
	half := len(s.block) / 2
	for k, z := range s.block[:half] {
		s.left[k] = s.tail[k] + z
	}
	copy(s.tail, s.block[half:])
	s.ready = s.left
	return nil
}

// FlatTop returns a density for NewShaper: power spread evenly over a block
// from low to high (cycles per sample, which may reach beyond ±1/2), with
// raised-cosine edges skirt wide inside the block.
func FlatTop(low, high, skirt, power float64) func(float64) float64 {
	width := high - low - skirt
	return func(f float64) float64 {
		in := math.Min(f-low, high-f)
		switch {
		case in <= 0 || width <= 0:
			return 0
		case in >= skirt:
			return power / width
		}
		return power / width * (1 - math.Cos(math.Pi*in/skirt)) / 2
	}
}
