package sim

import (
	"rooftone/dsp/ofdm"
	"rooftone/dsp/vsb"
)

// transmission is what a station sends, by its standard. Frequencies count from
// the channel's lower edge; the whole has an average power of 1.
type transmission interface {
	// density returns the power density per Hz, lines left out, and power its
	// integral between two frequencies.
	density(offsetHz float64) float64
	power(lowHz, highHz float64) float64

	// pilotShare is the power of the line at vsb.PilotOffsetHz.
	pilotShare() float64

	// period is after how many seconds its framing begins anew.
	period() float64

	// renderer returns what makes its samples in a slice whose centre is
	// offsetHz above the channel's lower edge.
	renderer(rateHz, offsetHz float64) (renderer, error)
}

// renderer adds the samples of a transmission at startSeconds + n·stepSeconds,
// times gain.
type renderer interface {
	add(dst []complex64, startSeconds, stepSeconds float64, gain complex128) error
}

// frameSymbols makes ATSC 3.0 frames of 250 ms.
const frameSymbols = 186

// newTransmission returns what a station of the given standard sends.
func newTransmission(standard string, seed uint64) (transmission, error) {
	if standard != "atsc3" {
		return atsc1{vsb.NewWaveform(seed)}, nil
	}
	w, err := ofdm.NewWaveform(seed, frameSymbols)
	return atsc3{w}, err
}

type atsc1 struct{ *vsb.Waveform }

func (atsc1) density(offsetHz float64) float64    { return vsb.Density(offsetHz) }
func (atsc1) power(lowHz, highHz float64) float64 { return vsb.DataPower(lowHz, highHz) }
func (atsc1) pilotShare() float64                 { return vsb.PilotShare }
func (atsc1) period() float64                     { return 2 * vsb.FieldSymbols / vsb.SymbolRateHz }

func (t atsc1) renderer(rateHz, offsetHz float64) (renderer, error) {
	r, err := vsb.NewRenderer(rateHz, offsetHz)
	return atsc1Renderer{r, t.Waveform}, err
}

type atsc1Renderer struct {
	*vsb.Renderer
	waveform *vsb.Waveform
}

func (r atsc1Renderer) add(dst []complex64, start, step float64, gain complex128) error {
	return r.Add(dst, r.waveform, start, step, gain)
}

type atsc3 struct{ *ofdm.Waveform }

func (t atsc3) density(offsetHz float64) float64    { return t.Density(offsetHz) }
func (t atsc3) power(lowHz, highHz float64) float64 { return t.Power(lowHz, highHz) }
func (atsc3) pilotShare() float64                   { return 0 }
func (t atsc3) period() float64                     { return t.FrameSeconds() }

func (t atsc3) renderer(rateHz, offsetHz float64) (renderer, error) {
	r, err := ofdm.NewRenderer(rateHz, offsetHz)
	return atsc3Renderer{r, t.Waveform}, err
}

type atsc3Renderer struct {
	*ofdm.Renderer
	waveform *ofdm.Waveform
}

func (r atsc3Renderer) add(dst []complex64, start, step float64, gain complex128) error {
	return r.Add(dst, r.waveform, start, step, gain)
}
