package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/site"
)

// telling is how a command tells places and lengths: in the units that were asked
// for, else in the house's, and from the house's north.
type telling struct {
	units       site.Units
	north       site.North
	declination *float64 // by how much a compass points east of true north there
}

// spot is where a mark was made, ready to be told.
func (t telling) spot(place string, bearing, height *float64) *site.Spot {
	return &site.Spot{Place: place, BearingDeg: bearing, HeightM: height, Units: t.units, North: t.north}
}

// mark names where a mark was made, with the north of its heading.
func (t telling) mark(m site.Mark) string { return t.spot(m.Place, m.BearingDeg, m.HeightM).Full() }

// trueDeg is where a bearing as the house tells it points from true north, as far
// as that is known.
func (t telling) trueDeg(deg float64) float64 {
	if t.north == site.CompassNorth && t.declination != nil {
		return site.TrueBearing(deg, *t.declination)
	}
	return deg
}

// tell is how a ranking tells places. A declination that is given says that the
// headings are by compass where the house does not say which they are.
func (r *ranker) tell(h *site.House) telling {
	t := r.units.telling(h)
	if r.stations.declination == nil {
		r.stations.declination = h.DeclinationDeg
	} else if t.north == "" {
		t.north = site.CompassNorth
	}
	r.stations.units = t.units
	return t
}

// bearingsBy returns where a channel's stations stand, from the north that the
// house's headings are counted from: nowhere, where that is a compass's and nobody
// knows how far off it is.
func (s *stationFlags) bearingsBy(rfChannel int, north site.North) []float64 {
	var out []float64
	for _, r := range s.report(rfChannel) {
		switch {
		case north != site.CompassNorth && r.BearingDeg != nil:
			out = append(out, *r.BearingDeg)
		case north == site.CompassNorth && r.MagneticBearingDeg != nil:
			out = append(out, *r.MagneticBearingDeg)
		}
	}
	return out
}

// unitsFlag overrules the units of the house.
type unitsFlag struct{ word string }

func (u *unitsFlag) declare(fs *pflag.FlagSet) {
	fs.Var(&choice{to: &u.word, words: []string{string(site.Feet), string(site.Metres)}}, "units", "tell heights and distances in `UNITS`, feet or metres; unless given as the house does, see rooftone house. JSON is always metric")
}

// telling is the house's own, but for what the flag overrules. Without a house it
// is nobody's.
func (u *unitsFlag) telling(h *site.House) telling {
	var t telling
	if h != nil {
		t = telling{h.Units, h.North, h.DeclinationDeg}
	}
	if u.word != "" {
		t.units = site.Units(u.word)
	}
	return t
}

// length is the flag value of a height such as 20ft or 6.1m. A number alone is in
// the units of the house, which are known only later.
type length struct{ text string }

const (
	lowestM  = -500
	highestM = 9000
)

func (l *length) Type() string { return "" }

func (l *length) String() string { return l.text }

func (l *length) Set(s string) error {
	if _, _, err := readHeight(s, site.Metres); err != nil {
		return err
	}
	l.text = strings.TrimSpace(s)
	return nil
}

// in is the height in metres, nil where none was given, and the units that were
// typed, "" where none were.
func (l *length) in(house site.Units) (m *float64, typed site.Units) {
	if l.text == "" {
		return nil, ""
	}
	v, typed, err := readHeight(l.text, house)
	if err != nil {
		return nil, "" // Set took it
	}
	return &v, typed
}

// metres is the flag value of a height where there is no house: a number alone is
// in metres.
type metres struct {
	to    **float64
	typed *site.Units // the unit that was typed, "" for none; nil where nobody asks
}

func (m *metres) Type() string { return "" }

func (m *metres) String() string {
	if m.to == nil || *m.to == nil {
		return ""
	}
	return site.Metres.Length(**m.to)
}

func (m *metres) Set(s string) error {
	v, typed, err := readHeight(s, site.Metres)
	if err != nil {
		return err
	}
	if m.typed != nil {
		*m.typed = typed
	}
	v = math.Round(v*100) / 100
	*m.to = &v
	return nil
}

// readHeight reads a height, and refuses what no mast has.
func readHeight(s string, house site.Units) (m float64, typed site.Units, err error) {
	m, typed, err = site.ParseLength(s, house)
	switch {
	case err != nil:
		return 0, "", fmt.Errorf("%s is no height: write 20ft or 6.1m", quote(s))
	case m < lowestM || m > highestM:
		return 0, "", fmt.Errorf("%s is outside %d to %d metres", quote(s), lowestM, highestM)
	}
	return m, typed, nil
}

// firstSetting is what a house's file learns from how something was told there
// the first time; nothing where it knows already, or nothing was told.
func firstSetting(h *site.House, units site.Units, north site.North, declination *float64) []site.Record {
	s := site.Setting{Time: time.Now()}
	if h.Units == "" {
		s.Units = units
	}
	if h.North == "" {
		s.North = north
	}
	if h.DeclinationDeg == nil && h.North != site.TrueNorth && north == site.CompassNorth {
		s.DeclinationDeg = declination
	}
	if s.Units == "" && s.North == "" && s.DeclinationDeg == nil {
		return nil
	}
	return []site.Record{s}
}

// learn takes over what a first setting says.
func (t *telling) learn(records []site.Record) {
	for _, r := range records {
		s, ok := r.(site.Setting)
		if !ok {
			continue
		}
		if s.Units != "" && t.units == "" {
			t.units = s.Units
		}
		if s.North != "" {
			t.north = s.North
		}
		if s.DeclinationDeg != nil {
			t.declination = s.DeclinationDeg
		}
	}
}

// settled says what a house's file has learnt of how things are told there.
func settled(c *console, records []site.Record, file string) {
	for _, r := range records {
		s, ok := r.(site.Setting)
		if !ok {
			continue
		}
		var what []string
		if s.Units != "" {
			what = append(what, "heights are in "+string(s.Units))
		}
		if s.North != "" {
			what = append(what, s.North.Sentence())
		}
		if d := s.DeclinationDeg; d != nil {
			what = append(what, fmt.Sprintf("a compass points %s of true north", eastOrWest(*d)))
		}
		c.note("from now on in %s: %s; rooftone house --site %s changes that", file, strings.Join(what, ", "), file)
	}
}

// eastOrWest writes a declination: "13.5° west".
func eastOrWest(deg float64) string {
	if deg < 0 {
		return fmt.Sprintf("%g° west", -deg)
	}
	return fmt.Sprintf("%g° east", deg)
}

// rankUnclear is a spot that may be another, without it being clear which. Since is
// set where the spot is of the time since --since and the others are of before.
type rankUnclear struct {
	rankSpot
	MayBe []rankSpot `json:"may_be"`
	Since bool       `json:"since"`
}

func unclearOf(p *plot.Places) []rankUnclear {
	out := []rankUnclear{}
	for _, u := range p.Unclear {
		out = append(out, rankUnclear{newRankSpot(u.Spot), spotsOf(u.Among), false})
	}
	for _, u := range p.Visited.Unclear {
		out = append(out, rankUnclear{newRankSpot(u.Spot), spotsOf(u.Among), true})
	}
	return out
}
