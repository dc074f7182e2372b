package sim

import "rooftone/dsp/air"

// Preamplifier is an amplifier between the antenna's terminals, at which all
// levels are stated, and the radio. It amplifies all frequencies alike.
type Preamplifier struct {
	GainDB        float64 `toml:"gain_db"`
	NoiseFigureDB float64 `toml:"noise_figure_db"`

	// The input intercepts of second and third order; nil is none. They do
	// not move with the radio's gain.
	IIP2DBm *float64 `toml:"iip2_dbm"`
	IIP3DBm *float64 `toml:"iip3_dbm"`
}

func (p *Preamplifier) validate() error {
	if p == nil {
		return nil
	}
	if err := check(limit{"gain_db", p.GainDB, 0, 60}, limit{"noise_figure_db", p.NoiseFigureDB, 0.1, 40}); err != nil {
		return err
	}
	return checkIntercepts(p.IIP2DBm, p.IIP3DBm)
}

func checkIntercepts(second, third *float64) error {
	if second != nil {
		if err := check(limit{"iip2_dbm", *second, -120, 100}); err != nil {
			return err
		}
	}
	if third != nil {
		return check(limit{"iip3_dbm", *third, -120, 60})
	}
	return nil
}

// preamplifier returns the town's, nil when there is none or the radio has
// been taken off it.
func (t *Tuner) preamplifier() *Preamplifier {
	if t.terminated {
		return nil
	}
	return t.town.Preamplifier
}

// amplifiedDB is the gain in front of the radio, negative where the lead loses more.
func (t *Tuner) amplifiedDB() float64 {
	if p := t.preamplifier(); p != nil {
		return p.GainDB - t.leadDB()
	}
	return -t.leadDB()
}

// noiseFactor returns the noise factor of all that follows the antenna's
// terminals at a gain of the radio's, by Friis's formula.
func (t *Tuner) noiseFactor(gainDB float64) float64 {
	f := t.town.Radio.noiseFactor(gainDB, t.gains[len(t.gains)-1]) * air.Power(t.leadDB())
	if p := t.preamplifier(); p != nil {
		f = air.Power(p.NoiseFigureDB) + (f-1)*air.Power(-p.GainDB)
	}
	return f
}

// SetTerminated takes the radio off its lead, amplifier and antenna, and puts a
// matched resistor in their place, or undoes that. It counts from the next Tune.
func (t *Tuner) SetTerminated(on bool) error {
	if t.closed {
		return errClosed
	}
	t.terminated = on
	return t.populate()
}
