package sim

import (
	"math"

	"rooftone/dsp/air"
)

// Lead is what lies between the antenna's terminals, or the Preamplifier, and the
// radio, and only loses: at 290 K its noise figure is its loss.
type Lead struct {
	LossDB float64 `toml:"loss_db"` // at all frequencies alike
}

// Outside is the noise that comes in by the antenna beyond that of 290 K, which all
// of a town's levels stand in.
type Outside struct {
	// NoiseDB is its power over k·290 K·B at 100 MHz, SlopeDB by how much it falls
	// with each decade of frequency.
	NoiseDB float64 `toml:"noise_db"`
	SlopeDB float64 `toml:"slope_db"`
}

func (l *Lead) validate() error {
	if l == nil {
		return nil
	}
	return check(limit{"loss_db", l.LossDB, 0, 60})
}

func (o *Outside) validate() error {
	if o == nil {
		return nil
	}
	return check(limit{"noise_db", o.NoiseDB, -40, 60}, limit{"slope_db", o.SlopeDB, -40, 40})
}

// leadDB is the loss before the radio.
func (t *Tuner) leadDB() float64 {
	if t.terminated || t.town.Lead == nil {
		return 0
	}
	return t.town.Lead.LossDB
}

// outside is the noise from outside at a frequency, in units of k·290 K·B.
func (t *Tuner) outside(hz float64) float64 {
	o := t.town.Outside
	if t.terminated || o == nil {
		return 0
	}
	return air.Power(o.NoiseDB - o.SlopeDB*math.Log10(hz/100e6))
}
