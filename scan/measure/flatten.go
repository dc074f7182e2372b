package measure

import "rooftone/scan/band"

// FindPassband estimates the shape that a radio's own filters give every slice
// of one sample rate; with too few slices it is flat and says so in SigmaDB.
// Only the slices' Density, StepHz, RateHz and CenterHz are looked at.
func FindPassband(slices []*Slice, channels []band.Channel) Passband {
	return findPassband(slices, channels)
}
