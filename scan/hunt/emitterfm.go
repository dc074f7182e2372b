package hunt

import (
	"fmt"

	"rooftone/scan/band"
)

// The carriers of FM broadcasting stand every 200 kHz from 88.1 to 107.9 MHz: 47
// CFR 73.201.
const (
	firstFMHz, stepFMHz = 88.1e6, 200e3
	placesFM            = 100
)

// rasterPowers is what is at each place of FM's at the radio's input; 0 where
// nothing was heard.
func (s *scene) rasterPowers() []float64 {
	out := make([]float64, placesFM)
	for k := range out {
		low := firstFMHz + stepFMHz*(float64(k)-0.5)
		if x := s.best(low, low+stepFMHz); x != nil {
			if power, ok := x.power(low/s.clock, (low+stepFMHz)/s.clock); ok {
				out[k] = x.perGain(power)
			}
		}
	}
	return out
}

// skirt reports whether the power at a place of FM's is no more than a
// station nearby may send there: 25 dB below it up to 240 kHz from it and 35 dB up
// to 600 kHz, 47 CFR 73.317(b) and (c).
func skirt(all []float64, place int) bool {
	for k := max(0, place-3); k <= min(len(all)-1, place+3); k++ {
		belowDB := -35.0
		if k == place-1 || k == place+1 {
			belowDB = -25
		}
		if k != place && all[place] < all[k]*linear(belowDB) {
			return true
		}
	}
	return false
}

// rasterFM takes the carriers of FM broadcasting.
func (s *scene) rasterFM(service band.Service) {
	all := s.rasterPowers()
	for k := range all {
		hz := firstFMHz + stepFMHz*float64(k)
		x := s.best(hz-100e3, hz+100e3)
		if x == nil {
			continue
		}
		power, ok := x.power((hz-100e3)/s.clock, (hz+100e3)/s.clock)
		floor := s.floorOf(x) * stepFMHz
		if !ok || !(power > floor*linear(occupiedDB)) {
			continue
		}
		if skirt(all, k) {
			continue
		}
		s.emitter = append(s.emitter, Emitter{
			Name: fmt.Sprintf("FM %.1f MHz", hz/1e6), Service: service.Name,
			LowHz: hz - 90e3, HighHz: hz + 90e3, power: x.perGain(power - floor),
		})
	}
}
