package measure

import (
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/listen"
)

// FindPassband estimates the shape that a radio's own filters give every slice
// of one sample rate; with too few slices it is flat and says so in SigmaDB.
// Only the slices' Density, StepHz, RateHz and CenterHz are looked at.
func FindPassband(slices []*listen.Slice, channels []band.Channel) Passband {
	return findPassband(slices, channels)
}

// FindPassbandOf is FindPassband of a radio of which something is known, nil for
// nothing: where the slices tell nothing its pass band is what an examination found.
func FindPassbandOf(radio *character.Character, slices []*listen.Slice, channels []band.Channel) Passband {
	found := findPassband(slices, channels)
	if len(slices) == 0 {
		return found
	}
	return newKnownRadio(radio).passband(found, slices[0].RateHz)
}
