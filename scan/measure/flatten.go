package measure

import (
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// FindPassband estimates the shape that a radio's own filters give every slice
// of one sample rate; with too few slices it is flat and says so in SigmaDB.
// Only the slices' Density, StepHz, RateHz and CenterHz are looked at.
func FindPassband(slices []*listen.Slice, channels []band.Channel) Passband {
	return findPassband(slices, channels)
}
