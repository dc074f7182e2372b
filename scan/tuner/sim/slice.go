package sim

import (
	"math"

	"rooftone/dsp/air"
)

// slice is what the radio sees at one tuning, in true hertz and seconds, and
// what levels at the antenna terminals become in its samples.
type slice struct {
	centerHz float64
	rateHz   float64
	scale    float64 // amplitude, relative to full scale, of 1 mW
	noise    float64 // power of the thermal noise and the radio's own, relative to full scale
	tiltDB   float64
	warmed   float64 // the clock over what it was when the radio was opened
	seed     uint64  // of what is random in this stay

	band *air.Band // nil of plain filters
}

// slice returns what the radio sees when it is asked for a tuning.
func (t *Tuner) slice(centerHz, rateHz, gainDB float64) slice {
	r := &t.town.Radio
	clock := 1 + r.ppm(t.now())*1e-6
	reached := centerHz
	if r.TuningStepHz > 0 {
		reached = math.Round(centerHz/r.TuningStepHz) * r.TuningStepHz
	}
	s := slice{centerHz: reached * clock, rateHz: rateHz * clock, warmed: clock / (1 + r.PPM*1e-6)}
	ripple, slope := r.ripple(s.centerHz)
	gainDB = t.realGain(gainDB)
	top := t.gains[len(t.gains)-1]
	s.scale = air.Amplitude(gainDB - top + ripple - r.FullScaleDBm + t.amplifiedDB())
	s.noise = s.power(ThermalDBmPerHz) * (t.noiseFactor(gainDB) + t.outside(s.centerHz)) * s.rateHz
	s.tiltDB = r.TiltDB + slope*s.rateHz/2
	s.band = r.band(&s, gainDB)
	return s
}

// power returns what a level becomes, relative to full scale.
func (s *slice) power(dBm float64) float64 { return milliwatts(dBm) * s.scale * s.scale }

// amplitude is the square root of power.
func (s *slice) amplitude(dBm float64) float64 { return math.Sqrt(s.power(dBm)) }

// sees says whether any of a range of frequencies is heard, by plain filters a
// twentieth of the slice beyond its edges too.
func (s *slice) sees(low, high float64) bool {
	from, to := s.edges()
	margin := 0.0
	if s.band == nil {
		margin = s.rateHz / 20
	}
	return high > from-margin && low < to+margin
}

// layer is one thing that is heard in a slice. It adds itself to dst at the
// times start + k/rate; calls come in ascending time without gaps.
type layer interface {
	add(dst []complex64, start float64) error
}

// emitter is one thing in the town, or in the radio, that sends.
type emitter interface {
	// within returns the mean power, in mW at the terminals, between two
	// frequencies.
	within(lowHz, highHz float64) float64

	// open returns what is heard of it in a slice, nil when that is nothing.
	open(s *slice) (layer, error)
}
