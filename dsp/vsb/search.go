package vsb

import (
	"math"
	"math/bits"

	"rooftone/dsp/psd"
)

const (
	searchBlock   = 0.8e-3 // seconds that a transform covers at least
	searchMargin  = 8e-6   // by how much a window exceeds the training on either side
	carrierStepHz = 7e3    // between the carriers that are tried: half a step off costs 0.9 dB
)

// search finds field syncs in a stay by correlation.
//
// The stay is whitened by its own average spectrum, so that lines and other
// narrow things count little, and correlated with the training, whitened too.
// What comes out is divided by the whitened power under the training. Where
// there is no training its magnitude squared is what one of some n dimensions
// has by chance: above x with the probability (1−x/n)^(n−1), which is below
// exp(−x). The sum over F fields then exceeds x with less than the probability
// that a gamma variate of shape F does. It is multiplied by what is tried:
// places in a field, kinds of field, carriers and clocks.
type search struct {
	layout *layout
	fft    *psd.FFT
	size   int
	guard  int // samples before the first symbol's peak in the reference
	length int // samples that the reference covers

	// The reference's spectrum: what odd and even fields share, and what is
	// added in odd and subtracted in even ones.
	shared, middle []complex64
	seen           []bool

	spectra []complex64  // of all blocks, one after the other, whitened twice
	weight  []float32    // inverse of the average power spectrum
	local   []float32    // the whitened power under the training at each place
	score   [2][]float32 // of odd and even fields at each place
	work    [2][]complex64
}

// sighting is a sequence of field syncs.
type sighting struct {
	first     float64 // the first sync's place, in samples
	odd       bool    // the first one's kind
	fields    int     // how many there are in the stay
	carrierHz float64 // by how much the signal appears too high
	clock     float64 // relative clock error
	score     float64
	logChance float64 // natural logarithm of the chance that noise does it
}

func newSearch(g *layout) (*search, error) {
	s := &search{layout: g}
	s.size = 1 << bits.Len(uint(searchBlock*g.rateHz))
	s.guard = int(searchMargin * g.rateHz)
	s.length = int(KnownSymbols/SymbolRateHz*g.rateHz) + 2*s.guard
	var err error
	if s.fft, err = psd.NewFFT(s.size); err != nil {
		return nil, err
	}
	s.shared, s.middle = make([]complex64, s.size), make([]complex64, s.size)
	s.seen = make([]bool, s.size)
	s.weight = make([]float32, s.size)
	for i := range s.work {
		s.work[i] = make([]complex64, s.size)
	}
	odd, _ := FieldSync(true)
	for k := -s.size / 2; k < s.size/2; k++ {
		channelHz := g.offsetHz + float64(k)*g.rateHz/float64(s.size)
		v := response(channelHz) * g.filter(channelHz-g.middleHz)
		if v == 0 {
			continue
		}
		i := (k + s.size) % s.size
		s.seen[i] = true
		spin := turn(-(channelHz - PilotOffsetHz) / SymbolRateHz)
		// The first peak is guard samples after the window's start.
		symbol := turn(-float64(k)*float64(s.guard)/float64(s.size)) * complex(v, 0)
		var shared, middle complex128
		for n := range KnownSymbols {
			if n >= pn63Start+63 && n < pn63Start+126 {
				middle += symbol * complex(float64(odd[n]), 0)
			} else {
				shared += symbol * complex(float64(odd[n]), 0)
			}
			symbol *= spin
		}
		s.shared[i], s.middle[i] = complex64(shared), complex64(middle)
	}
	return s, nil
}

// hop is by how many samples blocks advance.
func (s *search) hop() int { return s.size - s.length }

// grow returns x with the given length, in new memory when there is too little.
func grow[T any](x []T, length int) []T {
	if cap(x) < length {
		return make([]T, length)
	}
	return x[:length]
}

// find returns the likeliest sequence of field syncs in the stay, or nil when
// it is too short to hold one.
func (s *search) find(x []complex64, know Knowledge) (*sighting, error) {
	count := len(x) - s.length + 1
	if count < 1 {
		return nil, nil
	}
	if err := s.load(x, count); err != nil {
		return nil, err
	}
	bin := s.layout.rateHz / float64(s.size)
	seconds := float64(len(x)) / s.layout.rateHz
	var best *sighting
	tried := 0
	for _, hz := range know.carriers() {
		shift := int(math.Round(hz / bin))
		hz = float64(shift) * bin
		if err := s.correlate(count, shift); err != nil {
			return nil, err
		}
		clocks := know.clocks(hz, seconds, s.layout.rateHz)
		tried += len(clocks)
		best = s.follow(best, hz, clocks)
	}
	places := math.Min(float64(count), FieldSymbols/SymbolRateHz*s.layout.rateHz)
	best.logChance = math.Min(0, best.logChance+math.Log(2*places*float64(tried)))
	return best, nil
}

// load transforms the stay, finds its average spectrum, whitens it and finds
// the whitened power under the training at each of count places.
func (s *search) load(x []complex64, count int) error {
	blocks := (count + s.hop() - 1) / s.hop()
	s.spectra = grow(s.spectra, blocks*s.size)
	power := make([]float64, s.size)
	for b := range blocks {
		n := copy(s.work[0], x[b*s.hop():])
		clear(s.work[0][n:])
		y := s.spectra[b*s.size : (b+1)*s.size]
		if err := s.fft.Transform(y, s.work[0]); err != nil {
			return err
		}
		for i, v := range y {
			power[i] += float64(real(v)*real(v) + imag(v)*imag(v))
		}
	}
	s.weigh(power, blocks)
	s.local = grow(s.local, count)
	bins := 0
	for _, seen := range s.seen {
		if seen {
			bins++
		}
	}
	for b := range blocks {
		y := s.spectra[b*s.size : (b+1)*s.size]
		white := s.work[0]
		for i, v := range y {
			w := s.weight[i]
			white[i] = 0
			if s.seen[i] {
				root := float32(math.Sqrt(float64(w)))
				white[i] = complex(real(v)*root, imag(v)*root)
			}
			y[i] = complex(real(v)*w, imag(v)*w)
		}
		if err := s.fft.Inverse(white, white); err != nil {
			return err
		}
		at := b * s.hop()
		s.powerUnder(s.local[at:min(at+s.hop(), count)], white, bins)
	}
	return nil
}

// weigh sets the weights to the inverse of the average power.
func (s *search) weigh(power []float64, blocks int) {
	var total float64
	for _, p := range power {
		total += p
	}
	// Few blocks make a rough spectrum: neighbours smooth it. The floor keeps
	// dead spectrum, such as beyond a filter's edge, from being blown up.
	reach := min(s.size/64, 64/blocks)
	floor := total/float64(s.size)*1e-6 + math.SmallestNonzeroFloat32
	var sum float64
	at := func(i int) float64 { return power[(i+s.size)%s.size] }
	for i := -reach; i < reach; i++ {
		sum += at(i)
	}
	for i := range s.weight {
		sum += at(i + reach)
		s.weight[i] = float32(float64(blocks) / (math.Max(0, sum)/float64(2*reach+1) + floor))
		sum -= at(i - reach)
	}
}

// powerUnder writes the mean power under the training, for each place of the
// reference's window, relative to what the weights promise.
func (s *search) powerUnder(dst []float32, white []complex64, bins int) {
	first, last := s.guard, s.length-s.guard
	power := func(i int) float64 {
		re, im := float64(real(white[i])), float64(imag(white[i]))
		return re*re + im*im
	}
	var sum float64
	for i := first; i < last; i++ {
		sum += power(i)
	}
	scale := 1 / (float64(bins) * float64(last-first))
	for i := range dst {
		dst[i] = float32(math.Max(sum*scale, 1e-6))
		if last+i < len(white) {
			sum += power(last+i) - power(first+i)
		}
	}
}

// correlate fills the scores for a carrier that is shift bins too high.
func (s *search) correlate(count, shift int) error {
	// What noise gives the correlation is Σ|r|²·weight.
	var expect float64
	for i, seen := range s.seen {
		if seen {
			r := s.shared[i] + s.middle[i]
			expect += float64((real(r)*real(r) + imag(r)*imag(r)) * s.weight[s.bin(i, shift)])
		}
	}
	scale := float32(1 / expect)
	for p := range s.score {
		s.score[p] = grow(s.score[p], count)
	}
	for at, b := 0, 0; at < count; at, b = at+s.hop(), b+1 {
		s.product(s.spectra[b*s.size:(b+1)*s.size], shift)
		for _, w := range s.work {
			if err := s.fft.Inverse(w, w); err != nil {
				return err
			}
		}
		end := min(at+s.hop(), count)
		odd, even, local := s.score[0][at:end], s.score[1][at:end], s.local[at:end]
		for i := range odd {
			a, m := s.work[0][i], s.work[1][i]
			k := scale / local[i]
			re, im := real(a)+real(m), imag(a)+imag(m)
			odd[i] = (re*re + im*im) * k
			re, im = real(a)-real(m), imag(a)-imag(m)
			even[i] = (re*re + im*im) * k
		}
	}
	return nil
}

func (s *search) bin(i, shift int) int { return (i + shift + s.size) & (s.size - 1) }

// product multiplies a block by the two parts of the reference.
func (s *search) product(y []complex64, shift int) {
	shared, middle := s.work[0], s.work[1]
	for i, seen := range s.seen {
		if !seen {
			shared[i], middle[i] = 0, 0
			continue
		}
		v, a, m := y[s.bin(i, shift)], s.shared[i], s.middle[i]
		shared[i] = complex(real(v)*real(a)+imag(v)*imag(a), imag(v)*real(a)-real(v)*imag(a))
		middle[i] = complex(real(v)*real(m)+imag(v)*imag(m), imag(v)*real(m)-real(v)*imag(m))
	}
}
