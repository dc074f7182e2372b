package receiver

import "math"

// keptSamples is how many samples the sampler keeps before the next symbol.
const keptSamples = 1024

// sampler reads the front's output once a symbol, at times that follow the
// station's clock, and turns it so that the pilot comes to stand at 0 Hz.
type sampler struct {
	between *interpolator
	samples []complex64 // waiting to be read
	first   int64       // number of samples[0]

	whole int64   // place of the next symbol: whole+part
	part  float64 // from 0 to 1
	step  float64 // from one symbol to the next

	phase, turn float64 // of the next symbol, and from one to the next, in cycles

	spins, at [fillCut]complex64 // of symbols that are read at once, and all of them the same
}

// fillCut is how many symbols are read at once.
const fillCut = 64

func newSampler() *sampler { return &sampler{between: newInterpolator()} }

// reset empties the sampler. The next sample it gets is number 0.
func (s *sampler) reset() { s.samples, s.first = s.samples[:0], 0 }

// place sets where the next symbol is.
func (s *sampler) place(at float64) {
	whole := math.Floor(at)
	s.whole, s.part = int64(whole), at-whole
}

// write appends samples, after dropping those that are not needed any more.
func (s *sampler) write(x []complex64) {
	if drop := s.whole - keptSamples - s.first; drop > 0 {
		drop = min(drop, int64(len(s.samples)))
		n := copy(s.samples, s.samples[drop:])
		s.samples = s.samples[:n]
		s.first += drop
	}
	s.samples = append(s.samples, x...)
}

// ready tells whether so many symbols can be read.
func (s *sampler) ready(symbols int) bool {
	last := s.whole + int64(s.part+float64(symbols)*s.step) + tapCount
	return last < s.first+int64(len(s.samples))
}

// fill reads symbols, for which it must be ready. Before the first sample there is
// silence.
func (s *sampler) fill(dst []complex64) {
	x := s.samples
	for i := range s.spins {
		s.spins[i] = turnBack(s.turn * float64(i))
	}
	for len(dst) > 0 {
		n := min(fillCut, len(dst))
		// Before the first sample there is silence.
		position := float64(s.whole-s.first) + s.part
		silent := 0
		for silent < n && position < tapsBefore {
			dst[silent] = 0
			silent++
			position += s.step
		}
		s.between.read(dst[silent:n], x, position, s.step)
		at := turnBack(s.phase)
		for i := range s.at {
			s.at[i] = at
		}
		multiply(dst[:n], dst[:n], s.spins[:n])
		multiply(dst[:n], dst[:n], s.at[:n])
		s.advance(n)
		dst = dst[n:]
	}
}

// turnBack returns what turns back by so many cycles.
func turnBack(cycles float64) complex64 {
	sin, cos := math.Sincos(-2 * math.Pi * cycles)
	return complex(float32(cos), float32(sin))
}

func (s *sampler) advance(symbols int) {
	s.part += float64(symbols) * s.step
	whole := math.Floor(s.part)
	s.whole += int64(whole)
	s.part -= whole
	s.phase += float64(symbols) * s.turn
	s.phase -= math.Floor(s.phase)
}

// move shifts the next symbol by so many samples.
func (s *sampler) move(samples float64) {
	s.part += samples
	whole := math.Floor(s.part)
	s.whole += int64(whole)
	s.part -= whole
}
