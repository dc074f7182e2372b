package hunt_test

import "rooftone/scan/tuner/sim"

// gentleRadio is a dongle that lets nothing in from beyond half its rate and
// whose gain steps are true. Drawn towns, tones under stations and the best gain
// are held to it: through a dongle as they really are, the spike and what folds in
// are still taken for tones and carriers that are not there now and then, and
// wrong gain steps mislead the search for the best gain.
func gentleRadio() sim.Radio {
	return sim.Radio{
		Seed: 1, PPM: 21, NoiseFigureDB: 6, FullScaleDBm: -66, Bits: 8, SettleMS: 6,
		Front: sim.FrontPlain, DroopDB: 1.5, TiltDB: 0.3, RippleDB: 1, DCDBFS: -45, SpurDBm: -112,
		IQGainDB: 0.02, IQPhaseDeg: 0.15, PhaseNoiseDBc: -300,
	}
}
