package receiver

import (
	"math"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
)

const (
	// blockSize is the length of the transforms at one sample a symbol. A
	// block makes blockSymbols symbols of it.
	blockSize     = 8192
	blockSegments = 6
	blockSymbols  = blockSegments * vsb.SegmentSymbols
	blockOverlap  = blockSize - blockSymbols

	// The first filter takes firstAhead samples after a symbol's own, the
	// others laterAhead; what is left of the overlap comes before.
	firstAhead  = blockOverlap / 2
	firstBehind = blockOverlap - firstAhead
	laterAhead  = vsb.SegmentSymbols
	laterBehind = blockOverlap - laterAhead
)

// filter is what turns samples, less what is known of them, into soft symbols.
type filter struct {
	spectrum []complex64 // divided by blockSize
	constant float32     // what it makes of symbols that are all 1

	// What stands in a soft symbol beside it: noise of the variance clean, and
	// errors times the variance of what the other symbols are known with.
	clean, errors float64
}

// noise returns the variance of what stands in a soft symbol where the others are
// known with errors of the variance v.
func (f *filter) noise(v float64) float64 { return f.clean + f.errors*v }

// designer makes filters for a channel and its noise.
//
// At a frequency ω, counted from the pilot in radians a symbol, the channel is H and
// the noise of the samples N. The best filter begins with the one matched to the
// two, H*/N, of which the real part is taken, which folds −ω onto ω: the symbols
// then have
//
//	Q(ω) = ½(|H(ω)|²/N(ω) + |H(−ω)|²/N(−ω))
//
// and noise of half that density. Where each symbol is known with an error of the
// variance V, and what is known was taken out of the samples, the least mean square
// error for what is left of one symbol, given that the others have as much left, is
// that of
//
//	F = 2/μ · H*/N / (1 + 2VQ),   μ = mean of 2Q/(1 + 2VQ),
//
// whose real part, added to what was known of the symbol, has the symbol's own size.
// Beside it are noise and what is left of other symbols. With V the mean square of
// all levels it is the linear equaliser; with 0, the matched filter. Tüchler, Singer
// and Koetter, "Minimum Mean Squared Error Equalization Using A Priori Information",
// IEEE Transactions on Signal Processing 50 (2002).
type designer struct {
	fft     *psd.FFT
	ratio   []float64   // 2Q
	gather  []complex64 // H*/N of each bin
	weights []float64   // of the filter that is made
	work    []complex64
}

func newDesigner() (*designer, error) {
	d := &designer{
		ratio: make([]float64, blockSize/2+1), weights: make([]float64, blockSize/2+1),
		gather: make([]complex64, blockSize), work: make([]complex64, blockSize),
	}
	var err error
	d.fft, err = psd.NewFFT(blockSize)
	return d, err
}

func newFilter() *filter { return &filter{spectrum: make([]complex64, blockSize)} }

const binMask = blockSize - 1

// set takes the channel and the noise of each of its bins, and returns the
// signal-to-noise ratio of the ideal decision-feedback equaliser.
func (d *designer) set(channel []complex64, noise []float32) (ideal float64) {
	noise = noise[:len(channel)]
	gather := d.gather[:len(channel)]
	for k, h := range channel {
		n := 1 / noise[k]
		gather[k] = complex(real(h)*n, -imag(h)*n)
	}
	ratio := func(k int) float64 {
		h, g := channel[k&binMask], gather[k&binMask]
		return float64(real(h)*real(g) - imag(h)*imag(g))
	}
	// The logarithm's mean by the products of a few: a logarithm takes long.
	var sum float64
	product := 1.
	for k := range d.ratio {
		d.ratio[k] = ratio(k) + ratio(-k)
		product *= 1 + vsb.LevelMeanSquare*d.ratio[k]
		if k&15 == 15 || k == blockSize/2 {
			sum += math.Log(product)
			product = 1
		}
	}
	return math.Exp(sum/float64(len(d.ratio))) - 1
}

// design makes the filter for symbols known with errors of the variance v.
func (d *designer) design(f *filter, channel []complex64, v float64, ahead int) {
	var mean float64
	weights := d.weights[:len(d.ratio)]
	for k, q := range d.ratio {
		w := 1 / (1 + v*q)
		weights[k] = w
		mean += binWeight(k) * q * w
		m := float32(w)
		for _, i := range [2]int{k, -k & binMask} {
			g := d.gather[i]
			f.spectrum[i] = complex(real(g)*m, imag(g)*m)
		}
	}
	mean = max(mean/blockSize, 1e-9)
	part := 1 / mean
	f.clean, f.errors = 0, 0
	for k, q := range d.ratio {
		w := weights[k] * part
		off := q*w - 1
		f.errors += binWeight(k) * off * off
		f.clean += binWeight(k) * q * w * w
	}
	f.errors /= blockSize
	f.clean = max(f.clean/blockSize, 1e-6)
	// The real part of what H*/N passes is Q, half of the ratio.
	d.cut(f.spectrum, 2*part, ahead, blockOverlap-ahead)
	f.constant = (real(f.spectrum[0])*real(channel[0]) - imag(f.spectrum[0])*imag(channel[0])) * blockSize
}

// binWeight is how many bins of a whole transform one of the half stands for.
func binWeight(k int) float64 {
	if k == 0 || k == blockSize/2 {
		return 1
	}
	return 2
}

// cut keeps of a filter what reaches from so many samples ahead to so many behind,
// and multiplies it by factor/blockSize.
func (d *designer) cut(spectrum []complex64, factor float64, ahead, behind int) {
	_ = d.fft.Inverse(d.work, spectrum)
	first, last := d.work[:behind+1], d.work[blockSize-ahead+1:]
	clear(d.work[behind+1 : blockSize-ahead+1])
	scale := float32(factor / blockSize / blockSize)
	for _, part := range [2][]complex64{first, last} {
		for i, v := range part {
			part[i] = complex(real(v)*scale, imag(v)*scale)
		}
	}
	_ = d.fft.Transform(spectrum, d.work)
}
