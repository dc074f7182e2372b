package hunt_test

import "rooftone/scan/tuner/sim"

// gentleRadio is a dongle that lets nothing in from beyond half its rate and
// whose gain steps are true. The ensembles of suspects are held to it: through a
// dongle that folds, what folds in at the ends of the slices is still taken for
// carriers that are not there.
func gentleRadio() sim.Radio {
	return sim.Radio{
		Seed: 1, PPM: 21, NoiseFigureDB: 6, FullScaleDBm: -66, Bits: 8, SettleMS: 6,
		Front: sim.FrontPlain, DroopDB: 1.5, TiltDB: 0.3, RippleDB: 1, DCDBFS: -45, SpurDBm: -112,
		IQGainDB: 0.02, IQPhaseDeg: 0.15, PhaseNoiseDBc: -300,
	}
}
