package site

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Setting says how the people at a house tell heights and headings. What it
// leaves empty stays as earlier records said.
type Setting struct {
	Time  time.Time
	Units Units
	North North
	// DeclinationDeg is by how many degrees a compass points east of true north
	// there.
	DeclinationDeg *float64
}

type settingLine struct {
	Kind           string   `json:"kind"`
	Time           string   `json:"time,omitempty"`
	Units          string   `json:"units,omitempty"`
	North          string   `json:"north,omitempty"`
	DeclinationDeg *float64 `json:"declination_deg,omitempty"`
}

func (s Setting) line() (any, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	l := settingLine{Kind: "setting", Units: string(s.Units), North: string(s.North)}
	if !s.Time.IsZero() {
		l.Time = stamp(s.Time)
	}
	if d := s.DeclinationDeg; d != nil {
		l.DeclinationDeg = round(*d, 10)
	}
	return l, nil
}

func (s Setting) check() error {
	switch {
	case s.Units != "" && s.Units != Metres && s.Units != Feet:
		return fmt.Errorf("units of %q: they are %s or %s", s.Units, Metres, Feet)
	case s.North != "" && s.North != TrueNorth && s.North != CompassNorth:
		return fmt.Errorf("a north of %q: it is %s or %s", s.North, TrueNorth, CompassNorth)
	case s.DeclinationDeg != nil && !(math.Abs(*s.DeclinationDeg) <= 180):
		return fmt.Errorf("a declination of %g°", *s.DeclinationDeg)
	case s.Units == "" && s.North == "" && s.DeclinationDeg == nil:
		return errors.New("a setting that says nothing")
	}
	return nil
}

// setting takes a line of settings. Words of a later version are passed over.
func (d *decoder) setting(l settingLine) error {
	h := &d.house
	switch u := Units(l.Units); u {
	case Metres, Feet:
		h.Units = u
	}
	switch n := North(l.North); n {
	case TrueNorth, CompassNorth:
		h.North = n
	}
	if v := l.DeclinationDeg; v != nil {
		if !(math.Abs(*v) <= 180) {
			return errors.New("its declination is impossible")
		}
		h.DeclinationDeg = v
	}
	return nil
}
