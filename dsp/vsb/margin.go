package vsb

import (
	"fmt"
	"math"
)

// MERPerCN is the ratio of the symbols' signal-to-noise ratio (the modulation
// error ratio) to C/N on a flat channel. C is the transmission with its pilot
// and N the noise in the 6 MHz channel; the symbols lack the pilot, which is
// not data (−0.31 dB), and see the noise of half a symbol rate only (+0.47 dB).
// It is 1.0378, or 0.16 dB.
const MERPerCN = DataShare * ChannelWidthHz / nyquistHz

// nyquistHz is the width of the band in which a sequence of real symbols lies,
// half the symbol rate: 5.381 MHz from the pilot up.
const nyquistHz = SymbolRateHz / 2

const (
	skirtHz = nyquistHz * RollOff / 2 // of the response, to either side of a half-power point
	topHz   = PilotOffsetHz + nyquistHz

	minCover   = 0.5   // of the Nyquist band; less is not the channel
	maxStepHz  = 250e3 // four bins in a skirt of 620 kHz at the very least
	minFolded  = 0.1   // of 1 + signal over noise; less is scatter
	maxRatio   = 1e30  // of signal to noise in a bin
	maxNumBins = 1 << 24
)

// EqualisedSNR returns the signal-to-noise ratio, as a ratio of powers, that an
// ideal decision-feedback equaliser has at its slicer on a channel with the
// given densities. It is what a receiver's modulation error ratio could be.
//
// signal and noise are power densities, in one unit, at the frequencies
// startHz + i·stepHz above the channel's lower edge. signal is that of the
// data alone as received: neither pilot nor noise. noise is all that is not
// this station's: noise, interference, and what a pilot's bins hold besides. A
// NaN in either is a bin that was not measured; a grid that does not reach the
// channel's edges lacks those bins. A signal that is the difference of two
// measurements may be below zero where it is weak: it should not be clipped,
// as that lets noise pass for signal.
//
// # What is computed
//
// With T the symbol period, f counted from the pilot and p the spectrum of a
// symbol's pulse as received (the transmitter's and the channel's), the samples
// hold, for the real symbols s[k] of mean square σ²,
//
//	r(t) = Σ s[k]·p(t−kT) + n(t),
//
// n being complex noise of density N(f). The filter matched to p and N, of
// which the real part is taken once a symbol, keeps all that the samples tell
// of the symbols. Real part and sampling fold frequencies f, −f and 1/T−f, and
// so on, onto one another. As the matched filter turns the phases of all of
// them to 0, the folded signal adds up in amplitude, while the noise adds up
// in power and loses half of it with the imaginary part. So at f, from 0 to
// 1/(2T), the sequence of real samples has the ratio
//
//	SNR(f) = Σ S(f′)/N(f′),  S(f) = σ²|p(f)|²/T,
//
// the sum of the ratios in all f′ that fold onto f: one of them in most of the
// band, two in the skirts, which are mirrored at the pilot and at half a symbol
// rate above it. On a flat channel the two add up to what the middle has.
//
// On such a sequence a forward filter and a feedback filter without end, the
// latter fed the right decisions, leave a mean square error of σ²·exp(−m) at
// the least, m being the mean of ln(1+SNR(f)) over 0 to 1/(2T). That counts a
// symbol that comes out too small as error; scaled to its right size it stands
// exp(m) − 1 times above the noise. Salz, "Optimum Mean-Square Decision
// Feedback Equalization", Bell System Technical Journal 52 (1973); Cioffi,
// Dudevoir, Eyuboglu and Forney, "MMSE Decision-Feedback Equalizers and
// Coding", IEEE Transactions on Communications 43 (1995).
//
// # What receivers reach
//
// Every receiver is below it; how far depends on how long its equaliser is. Two
// sizes, both with complex forward taps one symbol apart, fed the right
// decisions, at C/N of 12 to 30 dB:
//
//   - 256 forward and 384 feedback taps (24 and 36 µs): within 0.5 dB on
//     nearly all channels with echoes of −1 dB and less from −5 to +20 µs and
//     on the test profiles A to E of ITU-R BT.2035.
//   - 64 forward and 192 feedback taps (6 and 18 µs): within 0.7 dB in noise,
//     with echoes up to 17.5 µs late and up to 0.7 µs early, and on profiles A
//     and B. A strong path that comes earlier before the strongest one costs
//     more, as only forward taps can undo it: up to 2.5 dB on profiles C and E,
//     up to 5 dB on D, and most for a path 5 to 7 dB down, which costs up to 2
//     or 3 dB when 2 µs early and up to 7 dB when 4 µs early. Paths beyond the
//     feedback's span are not undone at all: what comes 18 µs late and 10 dB
//     down leaves 10 dB.
//
// Wrong decisions, a carrier or a clock that moves and taps that follow slowly
// cost more where echoes are strong.
//
// # Gaps, steps, errors
//
// The mean is over that part of the band that was measured with all that folds
// onto it, as if the rest were like it; with less than half of the band it is
// an error. So it is when noise is not above zero in a measured bin, a measured
// density is infinite or the ratio of two beyond 300 dB, the slices have
// different lengths, or the step is not within 250 kHz. Notches lie 1/delay
// apart and want some ten bins each: a step of 5 kHz for an echo of 20 µs.
//
// Scatter that the bins have from a periodogram of n averages lowers the result
// by some 2.2/n dB.
func EqualisedSNR(signal, noise []float64, startHz, stepHz float64) (float64, error) {
	b := densities{signal: signal, noise: noise, startHz: startHz, stepHz: stepHz}
	mean, err := b.meanLog(nil)
	if err != nil {
		return 0, fmt.Errorf("computing what an equaliser reaches: %w", err)
	}
	return math.Expm1(mean), nil
}

// EqualisedSNRSigma returns EqualisedSNR and its standard uncertainty, to first
// order; both are ratios of powers. In dB the latter is 4.34·sigma/snr.
//
// ratioSigma holds each bin's own standard uncertainty of signal/noise, which
// is that ratio times δ when the ratio is known to a relative uncertainty δ,
// and (1 + ratio)/√n when signal is a periodogram of n averages less a known
// noise. The bins' errors are taken as independent; where they are correlated
// over c bins, give √c of it. common is the relative uncertainty of a factor
// that all ratios share, such as a gain. A noise floor that is wrong by a factor
// 1+ε and was subtracted to get the signal moves ln(1+SNR) by ε everywhere; that
// adds ε·(1+snr), in power, to sigma.
//
// As d ln(1+SNR) = dSNR/(1+SNR), a bin adds its ratioSigma/(1+SNR), by its part
// of the band, in power, and the common factor adds common times the mean of
// SNR/(1+SNR).
func EqualisedSNRSigma(signal, noise, ratioSigma []float64, common, startHz, stepHz float64) (snr, sigma float64, err error) {
	if len(ratioSigma) != len(signal) {
		return 0, 0, fmt.Errorf("computing what an equaliser reaches: %d uncertainties for %d bins", len(ratioSigma), len(signal))
	}
	b := densities{signal: signal, noise: noise, startHz: startHz, stepHz: stepHz}
	slope := make([]float64, len(signal)) // of the mean by each bin's ratio
	mean, err := b.meanLog(slope)
	if err != nil {
		return 0, 0, fmt.Errorf("computing what an equaliser reaches: %w", err)
	}
	own, shared := 0., 0.
	for i, d := range slope {
		if d != 0 {
			own += d * d * ratioSigma[i] * ratioSigma[i]
			shared += d * signal[i] / noise[i]
		}
	}
	return math.Expm1(mean), math.Exp(mean) * math.Hypot(math.Sqrt(own), shared*common), nil
}

// MarginDB returns by how many dB a signal-to-noise ratio of the symbols, a
// ratio of powers such as EqualisedSNR's or a modulation error ratio, exceeds a
// decode threshold that is given the trade's way: as C/N in dB, for white noise
// on a flat channel. A flat channel's margin is therefore its C/N less the
// threshold, exactly. It is −Inf when snr is not above zero.
func MarginDB(snr, thresholdDB float64) float64 {
	if !(snr > 0) {
		return math.Inf(-1)
	}
	return 10*math.Log10(snr/MERPerCN) - thresholdDB
}

// densities are a channel's densities on a grid.
type densities struct {
	signal, noise   []float64
	startHz, stepHz float64
}

// meanLog returns the mean of ln(1+SNR(f)) over the Nyquist band. Unless slope
// is nil, the derivatives of the mean by each bin's ratio are added to it.
//
// The bins between the pilot and half a symbol rate above it are the nodes of
// the integral; to those in a skirt the ratio is added that its mirror image
// has, interpolated between two bins.
func (b densities) meanLog(slope []float64) (float64, error) {
	if err := b.check(); err != nil {
		return 0, err
	}
	at := func(hz float64) float64 { return (hz - b.startHz) / b.stepHz }
	first := max(0, int(math.Floor(at(PilotOffsetHz)+0.5)))
	last := min(len(b.signal)-1, int(math.Ceil(at(topHz)-0.5)))
	sum, covered := 0., 0.
	for i := first; i <= last; i++ {
		hz := b.startHz + float64(i)*b.stepHz
		width := math.Min(hz+b.stepHz/2, topHz) - math.Max(hz-b.stepHz/2, PilotOffsetHz)
		ratio := b.signal[i] / b.noise[i]
		image, mirrored := 0, 0. // the lower of two bins, and how far to the upper
		folds := true
		switch {
		case hz-PilotOffsetHz <= skirtHz:
			image, mirrored = b.place(at(2*PilotOffsetHz - hz))
		case topHz-hz <= skirtHz:
			image, mirrored = b.place(at(2*topHz - hz))
		default:
			folds = false
		}
		if folds {
			ratio += b.between(image, mirrored)
		}
		if !(width > 0) || math.IsNaN(ratio) {
			continue
		}
		covered += width
		sum += width * math.Log(math.Max(1+ratio, minFolded))
		if slope == nil {
			continue
		}
		d := width / math.Max(1+ratio, minFolded)
		slope[i] += d
		if folds {
			slope[image] += d * (1 - mirrored)
			if mirrored > 0 {
				slope[image+1] += d * mirrored
			}
		}
	}
	if covered < minCover*nyquistHz {
		return 0, fmt.Errorf("only %.0f %% of the channel's Nyquist band was measured", 100*covered/nyquistHz)
	}
	for i := range slope {
		slope[i] /= covered
	}
	return sum / covered, nil
}

func (b densities) check() error {
	switch {
	case len(b.signal) != len(b.noise):
		return fmt.Errorf("%d bins of signal and %d of noise", len(b.signal), len(b.noise))
	case len(b.signal) > maxNumBins:
		return fmt.Errorf("%d bins are more than %d", len(b.signal), maxNumBins)
	case !(b.stepHz > 0 && b.stepHz <= maxStepHz):
		return fmt.Errorf("a step of %g Hz is not between 0 and 250 kHz", b.stepHz)
	case math.IsNaN(b.startHz) || math.IsInf(b.startHz, 0):
		return fmt.Errorf("a first bin at %g Hz", b.startHz)
	}
	for i, n := range b.noise {
		s := b.signal[i]
		if math.IsNaN(n) || math.IsNaN(s) {
			continue
		}
		if !(n > 0) || math.IsInf(n, 0) || !(math.Abs(s/n) < maxRatio) {
			return fmt.Errorf("signal %g over noise %g at %g Hz is no ratio", s, n, b.startHz+float64(i)*b.stepHz)
		}
	}
	return nil
}

// place splits a place on the grid into a bin and the way to the next one. Half
// a step beyond the grid's ends is still its end bin; image is −1 farther out.
func (b densities) place(x float64) (image int, way float64) {
	end := float64(len(b.signal) - 1)
	if x < -0.5 || x > end+0.5 {
		return -1, 0
	}
	x = math.Min(math.Max(x, 0), end)
	whole := math.Floor(x)
	return int(whole), x - whole
}

// between returns the ratio of signal to noise at a place, NaN when it was not
// measured.
func (b densities) between(image int, way float64) float64 {
	if image < 0 {
		return math.NaN()
	}
	ratio := b.signal[image] / b.noise[image]
	if way > 0 {
		ratio += way * (b.signal[image+1]/b.noise[image+1] - ratio)
	}
	return ratio
}
