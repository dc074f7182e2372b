package receiver

import (
	"math"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
)

const (
	// blockSize is the length of the transforms at one sample a symbol. A
	// block makes blockSymbols symbols of it.
	blockSize     = 4096
	blockSegments = 3
	blockSymbols  = blockSegments * vsb.SegmentSymbols
	blockOverlap  = blockSize - blockSymbols

	// The forward filter takes forwardAhead samples after a symbol's own, and
	// forwardBehind before it.
	forwardBehind = 200
	forwardAhead  = blockOverlap - forwardBehind

	// The feedback filter has nearTaps that are summed up symbol by symbol and
	// farTaps that are summed up for farSymbols symbols at once.
	nearTaps     = 64
	farTaps      = 384
	feedbackTaps = nearTaps + farTaps
	farSymbols   = 32
)

// designer makes a decision-feedback equaliser from a channel and its noise.
//
// At a frequency ω, counted from the pilot in radians a symbol, the channel is H and
// the noise of the samples N. The best forward filter begins with the one matched
// to the two, H*/N, of which the real part is taken, which folds −ω onto ω: the
// symbols then have
//
//	Q(ω) = ½(|H(ω)|²/N(ω) + |H(−ω)|²/N(−ω))
//
// and noise of half that density. With σ² the symbols' mean square, 1 + 2σ²Q is
// factored into γ·G·G*, G being causal with causal inverse and beginning with 1: by
// the logarithm's Fourier series, of which G has the positive half. Then
//
//	forward = 2σ²/((γ−1)·G*) · H*/N,   feedback = G − 1,
//
// and the signal-to-noise ratio is γ − 1. Cioffi, Dudevoir, Eyuboglu and Forney,
// "MMSE Decision-Feedback Equalizers and Coding", IEEE Transactions on
// Communications 43 (1995). The forward filter is then cut to what a block has
// room for, and the feedback filter is what that lets through.
type designer struct {
	fft *psd.FFT

	forward  []complex64 // transform of the forward filter, with 1/blockSize
	matched  []complex64 // transform of the canceller's filter: see design
	near     [nearTaps]float32
	far      [farTaps]float32
	snr      float64 // that the design promises
	spectrum []complex64
	work     []complex64
	log      []float64
}

func newDesigner() (*designer, error) {
	d := &designer{
		forward: make([]complex64, blockSize), matched: make([]complex64, blockSize),
		spectrum: make([]complex64, blockSize), work: make([]complex64, blockSize),
		log: make([]float64, blockSize/2+1),
	}
	var err error
	d.fft, err = psd.NewFFT(blockSize)
	return d, err
}

// design makes the filters for a channel, given as its transform, with noise of the
// given density in each of its samples, per bin.
func (d *designer) design(channel []complex64, noise []float32, uncertain float64) {
	const mask = blockSize - 1
	ratio := func(k int) float64 {
		h := channel[k&mask]
		return float64(real(h)*real(h)+imag(h)*imag(h)) / float64(noise[k&mask])
	}
	// The logarithm of 1+2σ²Q, which is even, and its series.
	for k := range d.log {
		q := (ratio(k) + ratio(-k)) / 2
		d.log[k] = 1 + 2*vsb.LevelMeanSquare*q
		v := complex(float32(math.Log(d.log[k])), 0)
		d.work[k], d.work[-k&mask] = v, v
	}
	_ = d.fft.Inverse(d.work, d.work)
	const scale = 1. / blockSize
	gamma := math.Exp(float64(real(d.work[0])) * scale)
	d.snr = gamma - 1
	d.work[0] = 0
	for n := 1; n < blockSize/2; n++ {
		d.work[n] = complex(real(d.work[n])*scale, 0)
	}
	d.work[blockSize/2] = complex(real(d.work[blockSize/2])*scale/2, 0)
	clear(d.work[blockSize/2+1:])
	_ = d.fft.Transform(d.work, d.work)
	// work is log G. 1/G* at ω.
	gain := 2 * vsb.LevelMeanSquare / math.Max(gamma-1, 1e-6)
	for k := range d.spectrum {
		l := complex128(d.work[k])
		sin, cos := math.Sincos(imag(l))
		m := math.Exp(-real(l)) * gain / float64(noise[k])
		h := complex128(channel[k])
		// 1/conj(G) = exp(−Re)·(cos + i·sin) of the logarithm.
		d.spectrum[k] = complex64(complex(m*cos, m*sin) * complex(real(h), -imag(h)))
	}
	d.cut(d.forward, d.spectrum, forwardAhead, forwardBehind)
	// What the filter lets through of the symbols.
	for k, f := range d.forward {
		d.work[k] = f * channel[k]
	}
	_ = d.fft.Inverse(d.work, d.work)
	main := real(d.work[0])
	if !(main > 1e-6) {
		main = 1
	}
	for j := range d.near {
		d.near[nearTaps-1-j] = real(d.work[1+j]) / main
	}
	for j := range d.far {
		d.far[farTaps-1-j] = real(d.work[1+nearTaps+j]) / main
	}
	for k := range d.forward {
		d.forward[k] = complex(real(d.forward[k])/main, imag(d.forward[k])/main)
	}
	d.cancel(channel, noise, uncertain)
}

// cut keeps of a filter what reaches from so many samples ahead to so many behind,
// and writes its transform, divided by blockSize, to dst.
func (d *designer) cut(dst, spectrum []complex64, ahead, behind int) {
	_ = d.fft.Inverse(dst, spectrum)
	clear(dst[behind+1 : blockSize-ahead+1])
	const scale = 1. / blockSize / blockSize
	for i, v := range dst {
		dst[i] = complex(real(v)*scale, imag(v)*scale)
	}
	_ = d.fft.Transform(dst, dst)
}

const (
	cancelAhead  = 512
	cancelBehind = blockOverlap - cancelAhead
)

// cancel makes the filter of the canceller, which knows all symbols with a mean
// square error of uncertain: what is left when they are taken out of the samples
// goes through
//
//	H*/N / (1 + 2·uncertain·Q),
//
// divided by the mean of what that makes of a symbol, and its real part is added to
// the symbol as it was known.
func (d *designer) cancel(channel []complex64, noise []float32, uncertain float64) {
	const mask = blockSize - 1
	var mean float64
	for k := range d.log {
		q := (d.log[k] - 1) / (2 * vsb.LevelMeanSquare)
		w := 1 / (1 + 2*uncertain*q)
		weight := 2.
		if k == 0 || k == blockSize/2 {
			weight = 1
		}
		mean += weight * q * w
		for _, i := range [2]int{k, -k & mask} {
			h := channel[i]
			m := float32(w / float64(noise[i]))
			d.spectrum[i] = complex(real(h)*m, -imag(h)*m)
		}
	}
	mean /= blockSize
	if !(mean > 1e-12) {
		mean = 1e-12
	}
	scale := float32(1 / mean)
	for i, v := range d.spectrum {
		d.spectrum[i] = complex(real(v)*scale, imag(v)*scale)
	}
	d.cut(d.matched, d.spectrum, cancelAhead-1, cancelBehind)
}
