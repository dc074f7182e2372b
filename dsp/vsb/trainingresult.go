package vsb

import (
	"cmp"
	"math"
	"slices"
)

// responseStepHz is the spacing of a Training's response. Its frequencies are
// multiples of it, so that those of several slices fall together.
const responseStepHz = 5e3

// Training is what a stay shows of the field syncs on a slice of a channel.
//
// Densities are per hertz, with full scale 1: FS²/Hz. Responses are amplitudes
// relative to the transmitted pulse: where the response is h, the data has the
// density |h|²·Density. On a flat channel |h|² is the whole received power of
// the station.
type Training struct {
	// FalseAlarm bounds the probability that noise, or a signal without field
	// syncs, correlates as highly by chance somewhere in what was searched.
	// Found says that it is at most 1 in 5000, which keeps false alarms below 1
	// in 1000 among interference that the bound fits less well than noise.
	Found      bool
	FalseAlarm float64

	// Seen is how many field syncs the stay has at the place found, and Fields
	// how many are in it with enough around them to be fitted. Where Fields is
	// 0 the rest says nothing.
	Seen, Fields int

	// FirstSeconds is when the first symbol of the first field sync has its
	// peak on one of the strongest paths, the anchor: by the radio's clock,
	// after the stay's first sample. FirstOdd is that field's kind.
	FirstSeconds float64
	FirstOdd     bool

	// StartSeconds are those of the fields that were fitted, by the same clock. They
	// are a field apart but where samples are missing from the stay.
	StartSeconds []float64

	// CarrierHz is by how much the signal appears too high, ClockPPM how fast
	// the radio's clock runs.
	CarrierHz, CarrierSigmaHz float64
	ClockPPM, ClockSigmaPPM   float64

	// MERdB is the ratio of the data's mean density to the error's from LowHz
	// to HighHz above the channel's lower edge, within the Nyquist bandwidth.
	// The data's is what it were without the skirts, which a receiver's matched
	// filter and sampling make whole. So on a flat channel it is C/N in 6 MHz
	// times MERPerCN in every slice. NaN when nothing was fitted.
	MERdB, MERSigmaDB        float64
	LowHz, HighHz            float64
	DataDensity, DataSigma   float64
	ErrorDensity, ErrorSigma float64

	// Folded is what comes back into the slice from beyond half its rate. It is
	// not part of the error.
	Folded Folded

	// Changing is the chance that the fields of a channel that stands still
	// differ as much as these do: near 0 for one that changes from field to
	// field, and 1 for a single field.
	Changing float64

	// Response is the channel's response every 5 kHz of the band that was
	// fitted, which may exceed LowHz to HighHz. Its phase is 0 where the anchor
	// alone would have 0: phase and time are the stay's own.
	Response []ResponseBin

	// Taps are what the response was made of. An echo is one or several of
	// them; Echoes tells which.
	Taps []Tap

	echoes *echoData
}

// ResponseBin is a channel's response at a frequency above its lower edge.
type ResponseBin struct {
	OffsetHz float64
	Gain     complex128
	Variance float64 // of Gain, both parts together
	Noise    float64 // the error's density in the slice that the bin is from
}

// Tap is a tap of a fitted channel.
type Tap struct {
	DelaySeconds float64 // after the anchor
	Gain         complex128
}

// judge fills in what the last fit says.
func (t *Trainer) judge(out *Training, noise float64) {
	g := t.layout
	p := &t.pursuit
	half := 0.5 / g.step
	out.LowHz = math.Max(PilotOffsetHz, g.middleHz-half)
	out.HighHz = math.Min(ChannelWidthHz-PilotOffsetHz, g.middleHz+half)
	out.ErrorDensity, out.ErrorSigma = noise, noise/math.Sqrt(t.free)
	out.Folded = t.folding.folded()
	power, sigma := p.meanPower(out.LowHz-g.middleHz, out.HighHz-g.middleHz, t.scale)
	out.DataDensity, out.DataSigma = power*flatDensity, sigma*flatDensity
	out.MERdB = 10 * math.Log10(out.DataDensity/out.ErrorDensity)
	out.MERSigmaDB = 10 / math.Ln10 * math.Hypot(out.DataSigma/out.DataDensity, out.ErrorSigma/out.ErrorDensity)

	for k := math.Ceil((g.middleHz - half) / responseStepHz); k*responseStepHz <= g.middleHz+half; k++ {
		hz := k * responseStepHz
		gain, variance := p.responseAt(hz - g.middleHz)
		out.Response = append(out.Response, ResponseBin{hz, gain, variance * t.scale, noise})
	}
	for _, m := range p.solve() {
		out.Taps = append(out.Taps, Tap{float64(m.delay) * g.step / 2, m.gain})
	}
	out.Changing = t.changing()
	out.echoes = t.echoData()
}

// direction returns b for a frequency from the band's middle: bᵀ·gain is the
// response there. With e the taps' phases, h = eᵀR⁻¹·gain, so b = R⁻ᵀe.
func (p *pursuit) direction(hz float64) []complex128 {
	b := make([]complex128, len(p.taps))
	for j, delay := range p.taps {
		b[j] = turn(-hz * float64(delay) * p.layout.step / 2)
		for i := range j {
			b[j] -= p.r[j][i] * b[i]
		}
		b[j] /= p.r[j][j]
	}
	return b
}

// responseAt is the response at a frequency from the band's middle, and its
// variance in units of the whitened noise.
func (p *pursuit) responseAt(hz float64) (gain complex128, variance float64) {
	b := p.direction(hz)
	return dot(b, p.gain), norm2(b)
}

// meanPower is the mean of the response's squared magnitude between two
// frequencies from the band's middle, less what noise adds to it, and its
// standard uncertainty. The gains' noise has the variance scale.
//
// The mean is gᴴMg for the gains g, with M the mean of conj(b)·bᵀ. Noise of
// variance 1 adds tr M to it, with a variance of 2gᴴM²g + tr M² of which the
// estimate of the first term is too high by twice the second.
func (p *pursuit) meanPower(lowHz, highHz, scale float64) (power, sigma float64) {
	const count = 96
	k := len(p.taps)
	m := make([]complex128, k*k) // row by row
	for i := range count {
		b := p.direction(lowHz + (float64(i)+0.5)/count*(highHz-lowHz))
		for r := range b {
			addScaled(m[r*k:(r+1)*k], complex(real(b[r]), -imag(b[r]))/count, b)
		}
	}
	var trace float64
	mg := make([]complex128, k)
	for r := range k {
		trace += real(m[r*k+r])
		mg[r] = dot(m[r*k:(r+1)*k], p.gain)
	}
	power = real(inner(p.gain, mg)) - scale*trace
	variance := 2*scale*norm2(mg) - scale*scale*norm2(m)
	return math.Max(power, 0), math.Sqrt(math.Max(variance, 0))
}

// JoinMER returns the MER, in dB, of the slices of one channel together, and its
// standard uncertainty: the data's power over the error's in what the slices
// have of the Nyquist bandwidth, each place counted in the slice whose middle is
// nearest. The slices must have been received with the same gain. It is NaN
// when no slice has a fit.
func JoinMER(trainings ...*Training) (merDB, sigmaDB float64) {
	var fitted []*Training
	for _, t := range trainings {
		if t != nil && t.Fields > 0 {
			fitted = append(fitted, t)
		}
	}
	slices.SortFunc(fitted, func(a, b *Training) int { return cmp.Compare(a.LowHz+a.HighHz, b.LowHz+b.HighHz) })
	var data, dataVariance, noise, noiseVariance float64
	for i, t := range fitted {
		low, high := t.LowHz, t.HighHz
		if i > 0 {
			low = math.Max(low, (fitted[i-1].HighHz+low)/2)
		}
		if i < len(fitted)-1 {
			high = math.Min(high, (high+fitted[i+1].LowHz)/2)
		}
		width := math.Max(0, high-low)
		data += width * t.DataDensity
		noise += width * t.ErrorDensity
		dataVariance += width * width * t.DataSigma * t.DataSigma
		noiseVariance += width * width * t.ErrorSigma * t.ErrorSigma
	}
	if noise == 0 {
		return math.NaN(), math.NaN()
	}
	return 10 * math.Log10(data/noise), 10 / math.Ln10 * math.Hypot(math.Sqrt(dataVariance)/data, math.Sqrt(noiseVariance)/noise)
}

// Forget drops what only Echoes needs, some half a megabyte. Echoes then passes
// the Training over.
func (t *Training) Forget() { t.echoes = nil }
