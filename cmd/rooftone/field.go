package main

import (
	"github.com/spf13/pflag"

	"rooftone/scan/measure"
)

// fieldFlags say what stands between the air and the radio's antenna input.
type fieldFlags struct{ gain, loss *float64 }

func (f *fieldFlags) declare(fs *pflag.FlagSet) {
	fs.Var(&number{to: &f.gain, min: -40, max: 60, unit: "dB"}, "antenna-gain", "the antenna's gain over a dipole in `DB`, an amplifier's included, if known: with --noise-figure or --full-scale, field strengths in dBµV/m")
	fs.Var(&number{to: &f.loss, min: 0, max: 60, unit: "dB"}, "line-loss", "what the line from the antenna loses in `DB`; 0 unless given")
}

// check adds what is known to a calibration, which has to be there.
func (f *fieldFlags) check(c *measure.Calibration) error {
	switch {
	case f.gain == nil && f.loss == nil:
		return nil
	case f.gain == nil:
		return usagef("--line-loss goes with --antenna-gain").hint("--antenna-gain 0 is a dipole")
	case c == nil:
		return usagef("--antenna-gain wants to know the level at the radio").hint("--noise-figure 6 --antenna-gain %g, or --full-scale", *f.gain)
	}
	c.AntennaGainDBd = f.gain
	if f.loss != nil {
		c.LineLossDB = *f.loss
	}
	return nil
}
