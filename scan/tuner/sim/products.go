package sim

import (
	"math"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
)

// faintestProduct is the level, in dBm over all of a product, below which it is
// left out.
const faintestProduct = -135

// product is the emitter of what a limited front end makes of two strong
// stations: third-order products at 2f₁−f₂. For a curve y = x(1 − |x|²/IIP3)
// and Gaussian signals of powers P₁ and P₂ it has the power 2P₁²P₂/IIP3², spread
// over three channel widths as the convolution of the stations' spectra, and
// the pilots make a line of their own: exactly where a station on that channel
// would have its pilot.
//
// Products of three stations, and of a station with itself, are left out; so is
// whatever tuned filter the front end has. Products of stations within a slice
// come from air.Compress.
type product struct {
	lowerHz float64 // the lower edge of the channel it lands on
	power   float64 // mW
	line    float64 // mW
}

// products returns the products of the stations' main paths that matter at a
// gain and that a slice cannot make by itself.
func (t *Tuner) products(s *slice, gainDB float64) []emitter {
	limit := t.town.Radio.IIP3DBm
	if limit == nil {
		return nil
	}
	intercept := milliwatts(*limit + t.gains[len(t.gains)-1] - gainDB)
	low, high := s.edges()
	inSlice := func(e *station) bool { return e.lowerHz < high && e.lowerHz+channelWidth > low }
	var out []emitter
	for _, a := range t.stations {
		for _, b := range t.stations {
			if a.RFChannel == b.RFChannel || inSlice(a) && inSlice(b) {
				continue
			}
			pa, pb := milliwatts(a.levelDBm()), milliwatts(b.levelDBm())
			la, lb := a.sends.pilotShare()*pa, b.sends.pilotShare()*pb
			p := product{
				lowerHz: 2*a.lowerHz - b.lowerHz,
				power:   2 * pa * pa * pb / (intercept * intercept),
				line:    la * la * lb / (intercept * intercept),
			}
			if dBm(p.power) > faintestProduct {
				out = append(out, p)
			}
		}
	}
	return out
}

// density returns the share per Hz of the product's power at a frequency: three
// even spectra of the Nyquist bandwidth, convolved.
func (p product) density(hz float64) float64 {
	const width = vsb.SymbolRateHz / 2
	switch u := math.Abs(hz-p.lowerHz-channelWidth/2) / width; {
	case u < 0.5:
		return (0.75 - u*u) / width
	case u < 1.5:
		return 0.5 * (1.5 - u) * (1.5 - u) / width
	}
	return 0
}

func (p product) within(lowHz, highHz float64) float64 {
	var sum float64
	const step = 10e3
	for f := lowHz + step/2; f < highHz; f += step {
		sum += p.power * p.density(f) * step
	}
	return sum
}

func (p product) open(s *slice) (layer, error) {
	const reach = 1.5 * vsb.SymbolRateHz / 2
	middle := p.lowerHz + channelWidth/2
	if !s.sees(middle-reach, middle+reach) {
		return nil, nil
	}
	power := p.power * s.scale * s.scale
	shaper, err := air.NewShaper(1024, air.Seed(s.seed, uint64(p.lowerHz), math.Float64bits(p.power)), func(x float64) float64 {
		return power * p.density(s.centerHz+x*s.rateHz) * s.rateHz
	})
	if err != nil {
		return nil, err
	}
	line := tone{Tone{FrequencyHz: p.lowerHz + vsb.PilotOffsetHz, LevelDBm: dBm(p.line)}}
	pilot, err := line.open(s)
	if err != nil {
		return nil, err
	}
	return layerFunc(func(dst []complex64, start float64) error {
		if pilot != nil {
			if err := pilot.add(dst, start); err != nil {
				return err
			}
		}
		return shaper.Add(dst)
	}), nil
}
