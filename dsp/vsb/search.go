package vsb

import (
	"math"
	"math/bits"

	"rooftone/dsp/psd"
)

const (
	searchBlock    = 1.6e-3 // seconds that a transform covers at least
	searchMargin   = 8e-6   // by how much a window exceeds the training on either side
	searchSmoothHz = 20e3   // on either side, twice, to make the average spectrum smooth
	searchTaper    = 40e-6  // over which a transform's ends are faded, so that lines stay narrow
	carrierStepHz  = 7e3    // between the carriers that are tried: half a step off costs 0.9 dB
)

// search finds field syncs in a stay by correlation.
//
// The stay is whitened by its own average spectrum, so that lines and other
// narrow things count little, and correlated with the training r. With x for
// the whitened samples, what comes out is
//
//	c = |Σ conj(r_i)·x_i|² / Σ |r_i|²·|x_i|²,
//
// scaled to a mean of 1. Samples of unrelated phases, whatever their powers,
// make c exceed some value v with a probability of at most about exp(−v):
// bursts and impulses too, for k samples of them cannot make it more than k.
// The sum over F fields then exceeds v with at most the probability that a
// gamma variate of shape F does. That is multiplied by the number of places in
// a field, kinds of field, carriers and clocks that are tried.
type search struct {
	layout *layout
	fft    *psd.FFT
	size   int
	guard  int       // samples before the first symbol's peak in the reference
	fade   []float32 // rises to 1; at both ends of a block
	length int       // samples that the reference covers

	// The reference's spectrum: what odd and even fields share, and what is
	// added in odd and subtracted in even ones.
	shared, middle []complex64
	seen           []bool
	bins           int         // that are seen
	shape          []complex64 // the spectrum of |r|², whose sum is 1

	spectra  []complex64  // of all blocks, one after the other, whitened twice
	weight   []float32    // inverse of the average power spectrum
	root     []float32    // its root
	seenRoot []float32    // the same, 0 in bins that are not seen
	local    []float32    // the whitened power that the training meets at each place
	score    [2][]float32 // of odd and even fields at each place
	work     [2][]complex64
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
	gaps      gaps
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
	s.weight, s.root, s.seenRoot = make([]float32, s.size), make([]float32, s.size), make([]float32, s.size)
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
		s.bins++
	}
	s.fade = make([]float32, int(searchTaper*g.rateHz))
	for i := range s.fade {
		s.fade[i] = float32(0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(len(s.fade))))
	}
	s.shape = make([]complex64, s.size)
	return s, nil
}

// findShape finds the spectrum of the whitened reference's power over time, of
// the mean of odd and even fields.
func (s *search) findShape() error {
	for k, w := range s.work {
		copy(w, [][]complex64{s.shared, s.middle}[k])
		for i, v := range w {
			w[i] = complex(real(v)*s.root[i], imag(v)*s.root[i])
		}
		if err := s.fft.Inverse(w, w); err != nil {
			return err
		}
	}
	var sum float32
	for i := range s.shape {
		a, m := s.work[0][i], s.work[1][i]
		v := real(a)*real(a) + imag(a)*imag(a) + real(m)*real(m) + imag(m)*imag(m)
		s.shape[i] = complex(v, 0)
		sum += v
	}
	for i := range s.shape {
		s.shape[i] /= complex(sum, 0)
	}
	return s.fft.Transform(s.shape, s.shape)
}

// hop is by how many samples blocks advance. A block's places begin behind its
// fade.
func (s *search) hop() int { return s.size - s.length - 2*len(s.fade) }

// grow returns x with the given length, in new memory when there is too little.
func grow[T any](x []T, length int) []T {
	if cap(x) < length {
		return make([]T, length)
	}
	return x[:length]
}

// find returns the likeliest sequence of field syncs in the stay, or nil when
// it is too short to hold one, silent or not all numbers.
func (s *search) find(x []complex64, know Knowledge) (*sighting, error) {
	count := len(x) - s.length + 1
	if count < 1 {
		return nil, nil
	}
	if some, err := s.load(x, count); err != nil || !some {
		return nil, err
	}
	bin := s.layout.rateHz / float64(s.size)
	seconds := float64(len(x)) / s.layout.rateHz
	var best *sighting
	tried, last := 0, 0
	for _, hz := range know.carriers() {
		shift := int(math.Round(hz / bin))
		hz = float64(shift) * bin
		if err := s.correlate(count, shift); err != nil {
			return nil, err
		}
		clocks := know.clocks(hz, seconds, s.layout.rateHz)
		tried, last = tried+len(clocks), shift
		best = s.follow(best, hz, clocks)
	}
	places := math.Min(float64(count), FieldSymbols/SymbolRateHz*s.layout.rateHz)
	best.logChance = math.Min(0, best.logChance+math.Log(2*places*float64(tried)))
	if best.logChance > math.Log(foundChance) {
		return best, nil
	}
	if shift := int(math.Round(best.carrierHz / bin)); shift != last {
		if err := s.correlate(count, shift); err != nil {
			return nil, err
		}
	}
	best.gaps = s.findGaps(best)
	return best, nil
}

// load transforms the stay, finds its average spectrum, whitens it and finds
// the whitened power that the training meets at each of count places. It
// returns false when the stay has no power or one that is no number.
func (s *search) load(x []complex64, count int) (bool, error) {
	blocks := (count + s.hop() - 1) / s.hop()
	s.spectra = grow(s.spectra, blocks*s.size)
	power := make([]float64, s.size)
	for b := range blocks {
		s.fill(s.work[0], x, b*s.hop()-len(s.fade))
		y := s.spectra[b*s.size : (b+1)*s.size]
		if err := s.fft.Transform(y, s.work[0]); err != nil {
			return false, err
		}
		for i, v := range y {
			power[i] += float64(real(v)*real(v) + imag(v)*imag(v))
		}
	}
	var total float64
	for _, p := range power {
		total += p
	}
	if !(total > 0 && total < math.MaxFloat32) {
		return false, nil
	}
	s.weigh(power, total, blocks)
	if err := s.findShape(); err != nil {
		return false, err
	}
	s.local = grow(s.local, count)
	for b := range blocks {
		at := b * s.hop()
		err := s.meet(s.local[at:min(at+s.hop(), count)], s.spectra[b*s.size:(b+1)*s.size])
		if err != nil {
			return false, err
		}
	}
	return true, nil
}

// fill copies a block of the stay that begins at a sample, which may lie
// outside, and fades its ends.
func (s *search) fill(dst, x []complex64, first int) {
	clear(dst)
	for i := max(0, -first); i < s.size && first+i < len(x); i++ {
		dst[i] = x[first+i]
	}
	for i, v := range s.fade {
		a, b := dst[i], dst[s.size-1-i]
		dst[i] = complex(real(a)*v, imag(a)*v)
		dst[s.size-1-i] = complex(real(b)*v, imag(b)*v)
	}
}

// meet whitens a block's spectrum, a second time for the reference, and writes
// the whitened power that the training meets.
func (s *search) meet(dst []float32, y []complex64) error {
	white := s.work[0]
	scaleBy(white, y, s.seenRoot)
	scaleBy(y, y, s.weight)
	if err := s.fft.Inverse(white, white); err != nil {
		return err
	}
	var total float32
	for i, v := range white {
		p := real(v)*real(v) + imag(v)*imag(v)
		white[i] = complex(p, 0)
		total += p
	}
	if err := s.fft.Transform(white, white); err != nil {
		return err
	}
	multiplyConj(white, white, s.shape)
	if err := s.fft.Inverse(white, white); err != nil {
		return err
	}
	// Of two transforms, and of white noise in the bins seen.
	scale := 1 / (float32(s.size) * float32(s.bins))
	least := 1e-6 * total / float32(s.bins) / float32(s.size)
	for i := range dst {
		dst[i] = max(real(white[len(s.fade)+i])*scale, least, 1e-6)
	}
	return nil
}

// scaleBy sets the weights to the inverse of the average power, smoothed by a
// triangle, so that whitening smears nothing far in time. What is narrower than
// that keeps no more power than noise has in its place.
func (s *search) weigh(power []float64, total float64, blocks int) {
	reach := int(searchSmoothHz * float64(s.size) / s.layout.rateHz)
	for range 2 {
		power = smooth(power, reach)
	}
	// The floor keeps dead spectrum, such as beyond a filter's edge, from being
	// blown up.
	floor := total / float64(s.size) * 1e-6
	for i, p := range power {
		s.weight[i] = float32(float64(blocks) / (p + floor))
		s.root[i] = float32(math.Sqrt(float64(s.weight[i])))
		if s.seen[i] {
			s.seenRoot[i] = s.root[i]
		}
	}
}

// smooth returns the means over reach values on either side, going round.
func smooth(x []float64, reach int) []float64 {
	out := make([]float64, len(x))
	at := func(i int) float64 { return x[(i+len(x))%len(x)] }
	for i := range x {
		if i%64 == 0 { // anew, lest rounding adds up
			for j := i - reach; j <= i+reach; j++ {
				out[i] += at(j)
			}
			continue
		}
		out[i] = out[i-1] + at(i+reach) - at(i-1-reach)
	}
	for i := range out {
		out[i] = math.Max(0, out[i]) / float64(2*reach+1)
	}
	return out
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
		from := len(s.fade)
		scores(odd, even, local, s.work[0][from:], s.work[1][from:], scale)
	}
	return nil
}

func (s *search) bin(i, shift int) int { return (i + shift + s.size) & (s.size - 1) }

// product multiplies a block by the two parts of the reference, which are zero in
// bins that are not seen.
func (s *search) product(y []complex64, shift int) {
	// The block's bins go round.
	n := s.size - s.bin(0, shift)
	for part, reference := range [][]complex64{s.shared, s.middle} {
		w := s.work[part]
		multiplyConj(w[:n], y[s.size-n:], reference[:n])
		multiplyConj(w[n:], y[:s.size-n], reference[n:])
	}
}
