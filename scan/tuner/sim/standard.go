package sim

import (
	"time"

	"rooftone/dsp/air"
	"rooftone/dsp/ofdm"
	"rooftone/dsp/render"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
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

	// renderer returns what makes its samples in a slice, through its
	// filter, whose centre is offsetHz above the channel's lower edge.
	renderer(filter render.Filter, rateHz, offsetHz float64) (renderer, error)
}

// renderer adds the samples of a transmission at startSeconds + n·stepSeconds,
// times gain.
type renderer interface {
	add(dst []complex64, startSeconds, stepSeconds float64, gain complex128) error
}

// frameSymbols makes ATSC 3.0 frames of 250 ms.
const frameSymbols = 186

// newTransmission returns what a station sends, and where its frames stand at the
// radio's time 0, in seconds. That time is called epoch.
func newTransmission(s *Station, seed uint64, playout *coding.Playout, epoch time.Time) (sends transmission, clock float64, err error) {
	at := func(t transmission) float64 { return t.period() * float64(air.Seed(seed, 1)>>11) * 0x1p-53 }
	if s.Standard == "atsc3" {
		w, err := ofdm.NewWaveform(seed, frameSymbols)
		if err != nil {
			return nil, 0, err
		}
		return atsc3{w}, at(atsc3{w}), nil
	}
	clock = at(atsc1{})
	a, err := s.airing(playout, seed, epoch.Add(-seconds(clock)))
	return atsc1{a}, clock, err
}

type atsc1 struct{ *coding.Airing }

func (atsc1) density(offsetHz float64) float64    { return vsb.Density(offsetHz) }
func (atsc1) power(lowHz, highHz float64) float64 { return vsb.DataPower(lowHz, highHz) }
func (atsc1) pilotShare() float64                 { return vsb.PilotShare }
func (atsc1) period() float64                     { return 2 * vsb.FieldSymbols / vsb.SymbolRateHz }

func (t atsc1) renderer(filter render.Filter, rateHz, offsetHz float64) (renderer, error) {
	r, err := vsb.NewRendererThrough(filter, rateHz, offsetHz)
	return atsc1Renderer{r, t.Airing}, err
}

type atsc1Renderer struct {
	*vsb.Renderer
	airing *coding.Airing
}

func (r atsc1Renderer) add(dst []complex64, start, step float64, gain complex128) error {
	return r.Add(dst, r.airing, start, step, gain)
}

type atsc3 struct{ *ofdm.Waveform }

func (t atsc3) density(offsetHz float64) float64    { return t.Density(offsetHz) }
func (t atsc3) power(lowHz, highHz float64) float64 { return t.Power(lowHz, highHz) }
func (atsc3) pilotShare() float64                   { return 0 }
func (t atsc3) period() float64                     { return t.FrameSeconds() }

func (t atsc3) renderer(filter render.Filter, rateHz, offsetHz float64) (renderer, error) {
	r, err := ofdm.NewRendererThrough(filter, rateHz, offsetHz)
	return atsc3Renderer{r, t.Waveform}, err
}

type atsc3Renderer struct {
	*ofdm.Renderer
	waveform *ofdm.Waveform
}

func (r atsc3Renderer) add(dst []complex64, start, step float64, gain complex128) error {
	return r.Add(dst, r.waveform, start, step, gain)
}
