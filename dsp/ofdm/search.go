package ofdm

import (
	"fmt"
	"math"
	"math/bits"

	"rooftone/dsp/psd"
)

const (
	// knownSeconds is the part of the first symbol that is searched for: C and
	// A, which are one stretch of the carriers.
	knownSeconds = (partC + partA) / BootstrapRateHz

	// usedBand is the part of a slice on either side of its centre that is
	// used, in parts of the sample rate; a tuner's filter falls beyond it.
	usedBand = 0.4375

	// leastBandHz is how much of the bootstrap a slice must show.
	leastBandHz = 300e3

	// farthestBand is how far off the carriers may be searched for, in parts of
	// the sample rate: as far as the used band leaves room.
	farthestBand = 0.5 - usedBand

	// mostSamples keeps a mistaken stay from asking for all memory.
	mostSamples = 1 << 27

	// widestStep is the distance in hertz between frequencies tried: 2 dB are
	// lost halfway.
	widestStep = 0.75 / knownSeconds

	// smoothedBins is over how many bins the density that whitens is averaged.
	smoothedBins = 17

	// faintestShare bounds the density from below, relative to its mean: there
	// is nothing to be gained from an emptier place.
	faintestShare = 1e-6
)

// FoundBelow is the probability of a false alarm below which a bootstrap counts
// as found.
const FoundBelow = 1e-6

// Bootstrap is what a search found. Apart from Found and FalseAlarm all is zero
// when nothing was.
type Bootstrap struct {
	// Found says that FalseAlarm is below FoundBelow.
	Found bool

	// FalseAlarm bounds the probability that noise alone shows anything as much
	// like a bootstrap as the best place, anywhere among all the delays and
	// frequencies that were searched.
	FalseAlarm float64

	// StartSeconds is when that bootstrap begins, and with it its frame, after
	// the first sample and by the samples' clock.
	StartSeconds float64

	// CarrierErrorHz is how much higher than its place the transmission
	// appears in the slice, and CarrierSigmaHz the standard uncertainty of
	// that. Of a clock that is fast by e it is −e times the frequency on the
	// air of the middle of Seen.
	CarrierErrorHz, CarrierSigmaHz float64

	// Share is which share of the power in the used part of the slice was the
	// bootstrap's during its first symbol, by its strongest path: S/(S+N) where
	// nothing but noise comes with it.
	Share float64

	// FrameSeconds is the shortest time from one bootstrap to the next, 0 when
	// only one was found.
	FrameSeconds float64
}

// Searcher looks for the bootstrap in slices of one sample rate and place. It
// is used by one goroutine at a time and allocates nothing after it was made.
type Searcher struct {
	rateHz     float64
	maxSamples int
	known      int     // samples of the part that is searched for
	margin     int     // samples at either end of a block that are only there to fade
	low, high  float64 // Seen
	place      band

	forward, inverse *psd.FFT
	template         []complex64 // spectrum of what is searched for, on band.bins
	ramp             []float32   // how a block fades in
	block            []complex64 // of forward's length
	turned           []complex64 // of inverse's length

	// The reference at the frequency that was last tried.
	shift   int         // in bins
	matched []complex64 // the template, conjugate and weighted as the samples are
	power   float64     // Σ|matched|²

	spectra []complex64 // of all blocks, place.stored bins each
	starts  []int       // first sample of each block
	density []float64   // on the stored bins
	weights []float32   // one over its root
	sums    []float64   // running sum of a block's power
	loud    []float32   // of all blocks: the power around each delay
	levels  []float32   // for the median
	found   []peak      // the best of each block
}

// band is where things lie in a transform of the samples.
type band struct {
	length int // of the transform of the samples
	short  int // of the transform back, for the bins of the band alone
	first  int // the lowest bin that the reference fills; bin 0 is the slice's centre
	bins   int
	reach  int // bins on either side to which the reference may move
	stored int // bins + 2·reach
}

// ratio is how many samples lie between two delays that are tried.
func (b *band) ratio() int { return b.length / b.short }

// NewSearcher returns a Searcher for slices of the given sample rate, from 1 to
// 20 MS/s, whose centre is offsetHz above the channel's lower edge, and for
// stays of up to maxSamples, for each of which it holds some 16 bytes. The
// middle 7/8 of the slice are used. It is an error when less than 300 kHz of the
// bootstrap, which takes the middle 4.5 MHz of the channel, lie in them.
func NewSearcher(rateHz, offsetHz float64, maxSamples int) (*Searcher, error) {
	s, err := newSearcher(rateHz, offsetHz, maxSamples)
	if err != nil {
		return nil, fmt.Errorf("preparing to search for an ATSC 3.0 bootstrap: %w", err)
	}
	return s, nil
}

func newSearcher(rateHz, offsetHz float64, maxSamples int) (*Searcher, error) {
	if !(rateHz >= 1e6 && rateHz <= 20e6) {
		return nil, fmt.Errorf("a sample rate of %g Hz is not between 1 and 20 MHz", rateHz)
	}
	middleHz := ChannelWidthHz/2 - offsetHz
	low := math.Max(-usedBand*rateHz, middleHz-bootWidth/2)
	high := math.Min(usedBand*rateHz, middleHz+bootWidth/2)
	if !(high-low >= leastBandHz) {
		return nil, fmt.Errorf("a slice of %g Hz at %g Hz above the channel's edge shows too little of it", rateHz, offsetHz)
	}
	s := &Searcher{rateHz: rateHz, maxSamples: maxSamples, low: low, high: high, known: int(math.Ceil(knownSeconds * rateHz))}
	s.place = newBand(rateHz, low, high, s.known)
	s.margin = (s.known/8/s.place.ratio() + 1) * s.place.ratio()
	if maxSamples < s.least() || maxSamples > mostSamples {
		return nil, fmt.Errorf("stays of %d samples are not between %d and %d", maxSamples, s.least(), mostSamples)
	}
	var err error
	if s.forward, err = psd.NewFFT(s.place.length); err != nil {
		return nil, err
	}
	if s.inverse, err = psd.NewFFT(s.place.short); err != nil {
		return nil, err
	}
	s.block = make([]complex64, s.place.length)
	if err := s.makeTemplate(middleHz); err != nil {
		return nil, err
	}
	s.allocate()
	return s, nil
}

func newBand(rateHz, low, high float64, known int) band {
	length := 1 << bits.Len(uint(4*known-1))
	bin := rateHz / float64(length)
	first := int(math.Ceil(low / bin))
	b := band{
		length: length,
		first:  first,
		bins:   int(math.Floor(high/bin)) - first + 1,
		reach:  int(farthestBand*float64(length)) - 1,
	}
	b.short = min(length, 1<<bits.Len(uint(b.bins)))
	b.stored = b.bins + 2*b.reach
	return b
}

func (s *Searcher) allocate() {
	b := &s.place
	blocks := 1
	if hop := s.hop(); s.maxSamples > b.length {
		blocks += (s.maxSamples - b.length + hop - 1) / hop
	}
	s.ramp = make([]float32, s.margin)
	for i := range s.ramp {
		sin := math.Sin(math.Pi / 2 * (float64(i) + 0.5) / float64(s.margin))
		s.ramp[i] = float32(sin * sin)
	}
	s.turned = make([]complex64, b.short)
	s.spectra = make([]complex64, blocks*b.stored)
	s.starts = make([]int, 0, blocks)
	s.density = make([]float64, b.stored)
	s.weights = make([]float32, b.stored)
	s.sums = make([]float64, b.short+1)
	s.loud = make([]float32, blocks*s.delays())
	s.levels = make([]float32, 0, sampledLevels)
	s.found = make([]peak, blocks)
	s.matched = make([]complex64, b.bins)
}

// Seen returns between which frequencies, from the slice's centre, the bootstrap
// is looked for.
func (s *Searcher) Seen() (lowHz, highHz float64) { return s.low, s.high }

// least is the length of the shortest stay.
func (s *Searcher) least() int { return s.known + 2*s.margin }

// hop is from one block to the next; delays is how many of a block's are tried,
// the first of them at margin.
func (s *Searcher) hop() int    { return s.place.length - s.least() + 1 }
func (s *Searcher) delays() int { return (s.hop()-1)/s.place.ratio() + 1 }

// makeTemplate sets the spectrum of the first symbol's parts C and A as the
// slice shows them.
func (s *Searcher) makeTemplate(middleHz float64) error {
	values := carriers(0)
	for i := range values {
		if hz := middleHz + float64(i-outermost)*BootstrapSpacingHz; hz < s.low || hz > s.high {
			values[i] = 0
		}
	}
	clear(s.block)
	for n := range s.known {
		t := float64(n)/s.rateHz - partC/BootstrapRateHz
		if t > partA/BootstrapRateHz {
			break
		}
		spin := turn(BootstrapSpacingHz * t)
		phase := turn((middleHz - outermost*BootstrapSpacingHz) * t)
		var sum complex128
		for _, v := range values {
			sum += v * phase
			phase *= spin
		}
		s.block[n] = complex64(sum)
	}
	if err := s.forward.Transform(s.block, s.block); err != nil {
		return err
	}
	s.template = make([]complex64, s.place.bins)
	for i := range s.template {
		s.template[i] = s.block[(s.place.first+i)&(s.place.length-1)]
	}
	return nil
}

// Search looks for the bootstrap in consecutive samples. The transmission is
// expected to appear carrierErrorHz above its place, give or take uncertaintyHz.
// The two together must not be more than 1/16 of the sample rate.
//
// A stay shows a bootstrap for sure when it is 2 ms longer than a frame, which
// may be from 50 ms to 5 s and is mostly 100 to 250 ms; of frames that last F a
// shorter stay of T shows one with a probability of T/F. So nothing found is
// evidence only against frames as long as the stay.
func (s *Searcher) Search(x []complex64, carrierErrorHz, uncertaintyHz float64) (Bootstrap, error) {
	b, err := s.search(x, carrierErrorHz, uncertaintyHz)
	if err != nil {
		return Bootstrap{}, fmt.Errorf("searching for an ATSC 3.0 bootstrap: %w", err)
	}
	return b, nil
}

func (s *Searcher) search(x []complex64, carrierErrorHz, uncertaintyHz float64) (Bootstrap, error) {
	if len(x) < s.least() || len(x) > s.maxSamples {
		return Bootstrap{}, fmt.Errorf("%d samples are not between %d and %d", len(x), s.least(), s.maxSamples)
	}
	if !(uncertaintyHz >= 0 && math.Abs(carrierErrorHz)+uncertaintyHz <= farthestBand*s.rateHz) {
		return Bootstrap{}, fmt.Errorf("carriers %g ± %g Hz off are not within %g Hz", carrierErrorHz, uncertaintyHz, farthestBand*s.rateHz)
	}
	quiet, err := s.analyse(x)
	if err != nil || quiet {
		return Bootstrap{FalseAlarm: 1}, err
	}
	if err := s.measureLoudness(); err != nil {
		return Bootstrap{}, err
	}
	bin := s.rateHz / float64(s.place.length)
	within := func(hz float64) int {
		return max(-s.place.reach, min(s.place.reach, int(math.Round(hz/bin))))
	}
	lowest, highest := within(carrierErrorHz-uncertaintyHz), within(carrierErrorHz+uncertaintyHz)
	step := max(1, int(widestStep/bin))
	tried := 0
	var best peak
	for shift := lowest; ; shift += step {
		shift = min(shift, highest)
		p, err := s.try(shift, len(x))
		if err != nil {
			return Bootstrap{}, err
		}
		if tried++; p.height > best.height {
			best = p
		}
		if shift == highest {
			break
		}
	}
	trials := float64(tried) * float64((len(x)-s.least())/s.place.ratio()+1)
	out := Bootstrap{FalseAlarm: s.falseAlarm(best.height, trials)}
	if out.Found = out.FalseAlarm < FoundBelow; !out.Found {
		return out, nil
	}
	err = s.describe(&out, best, len(x), trials)
	return out, err
}
