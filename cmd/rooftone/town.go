package main

import (
	"fmt"
	"strings"

	"rooftone/scan/site"
	"rooftone/scan/tuner/sim"
)

// stand is where a simulated antenna is put. A field that is nil is as its town
// has it.
type stand struct {
	bearing     *float64 // degrees clockwise from north
	east, north *float64 // metres
}

func (s stand) given() bool { return s != stand{} }

const standHint = "sim:TOWN:east=0.5,north=-0.2,bearing=140: metres, or feet as in east=1ft, and degrees"

// cutStand takes where the antenna is put off the end of a town's name or path.
func cutStand(rest string) (town string, s stand, err error) {
	i := strings.LastIndexByte(rest, ':')
	if i < 0 || !strings.Contains(rest[i:], "=") {
		return rest, stand{}, nil
	}
	for _, part := range strings.Split(rest[i+1:], ",") {
		name, value, _ := strings.Cut(part, "=")
		var to **float64
		low, high, unit := -1000., 1000., 1.
		switch strings.TrimSpace(name) {
		case "east":
			to = &s.east
		case "north":
			to = &s.north
		case "bearing":
			to, low, high = &s.bearing, 0, 360
		default:
			return "", stand{}, usagef("--from: a simulated antenna has no %s", quote(name)).hint("%s", standHint)
		}
		if feet, ok := strings.CutSuffix(value, "ft"); ok && to != &s.bearing {
			value, unit = feet, site.Feet.PerUnit()
		}
		v, err := parseFinite(strings.TrimSpace(value))
		if v *= unit; err != nil || v < low || v > high {
			return "", stand{}, usagef("--from: %s is no number from %g to %g", quote(part), low, high).hint("%s", standHint)
		}
		*to = &v
	}
	return rest[:i], s, nil
}

// turnTo has a simulated antenna point to a bearing.
func (w *sourceWord) turnTo(bearing *float64) { w.stand.bearing = bearing }

// openSim opens the simulated radio of a town, with its antenna where the word
// puts it, unless the options point it elsewhere.
func (w sourceWord) openSim(o sim.Options) (*sim.Tuner, error) {
	town, err := sim.Load(w.rest)
	if err != nil {
		return nil, err
	}
	if o.BearingDeg == nil {
		o.BearingDeg = w.stand.bearing
	}
	radio, err := sim.New(town, o)
	if err != nil || !w.stand.given() {
		return radio, err
	}
	a := town.Antenna
	if a == nil {
		return nil, withHint(fmt.Errorf("placing the antenna: the town %s has none that can be moved or turned", town.Name), "its town file needs a table [antenna]")
	}
	east, north := a.EastM, a.NorthM
	if w.stand.east != nil {
		east = *w.stand.east
	}
	if w.stand.north != nil {
		north = *w.stand.north
	}
	return radio, radio.Move(east, north)
}
