package hunt_test

import "rooftone/scan/tuner/sim"

func gentleRadio() sim.Radio {
	return sim.DefaultRadio()
}
