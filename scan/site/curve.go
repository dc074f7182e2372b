package site

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"rooftone/scan/internal/linefile"
)

// TurnRecord is what was heard while the antenna was turned at one place: level
// against bearing. The headings that were found in it are marks of their own.
type TurnRecord struct {
	Time    time.Time
	Place   string
	HeightM *float64

	Program     string
	Source      string
	ThresholdDB float64
	// DeclinationDeg is by how much the bearings, a compass's, fall short of
	// true ones; nil: they are what they are.
	DeclinationDeg *float64

	Curves []Curve // ascending by RF channel, as far as there is a choice
}

// Curve is one channel's margin against bearing.
type Curve struct {
	RFChannel int
	Points    []Aimed // in order of bearing, 0 to 360; SigmaDB is not kept
}

const (
	maxPointsKept = 720

	// CurveStepDeg is how far apart the points of a curve are kept: a tenth of
	// what the narrowest antennas of a roof can tell apart.
	CurveStepDeg = 2.5
)

// Curve makes a curve of samples taken during the turn: the mean level and
// bearing of each step of so many degrees. Where the antenna passed a bearing
// more than once, all passes are in the mean.
func (t Turn) Curve(samples []Sample, stepDeg float64) ([]Aimed, error) {
	if !(stepDeg >= 360./maxPointsKept) {
		return nil, fmt.Errorf("a curve in steps of %g°", stepDeg)
	}
	p, err := t.path()
	if err != nil {
		return nil, err
	}
	type step struct{ n, deg, level float64 }
	steps := make([]step, int(math.Ceil(360/stepDeg)))
	for _, s := range samples {
		deg, _, ok := p.bearing(s.Time)
		if !ok || math.IsNaN(s.LevelDB) {
			continue
		}
		deg = turn360(deg)
		k := &steps[min(len(steps)-1, int(deg/stepDeg))]
		k.n++
		k.deg += deg
		k.level += s.LevelDB
	}
	var out []Aimed
	for _, k := range steps {
		if k.n > 0 {
			out = append(out, Aimed{BearingDeg: k.deg / k.n, LevelDB: k.level / k.n})
		}
	}
	return out, nil
}

type turnLine struct {
	Kind           string      `json:"kind"`
	Time           string      `json:"time"`
	Place          string      `json:"place"`
	HeightM        *float64    `json:"height_m,omitempty"`
	Program        string      `json:"program,omitempty"`
	Source         string      `json:"source,omitempty"`
	ThresholdDB    *float64    `json:"threshold_db,omitempty"`
	DeclinationDeg *float64    `json:"declination_deg,omitempty"`
	Curves         []curveLine `json:"curves"`
}

type curveLine struct {
	RFChannel int          `json:"rf_channel"`
	Points    [][2]float64 `json:"points"` // bearing in degrees, margin in dB
}

func (t TurnRecord) line() (any, error) {
	place, err := oneLine("the place", t.Place, maxName)
	switch {
	case err != nil:
		return nil, err
	case place == "":
		return nil, errors.New("a turn without the name of a place")
	case t.Time.IsZero():
		return nil, errors.New("a turn without its time")
	case t.HeightM != nil && !(math.Abs(*t.HeightM) <= maxHeightM):
		return nil, fmt.Errorf("a height of %g m", *t.HeightM)
	case t.DeclinationDeg != nil && !(math.Abs(*t.DeclinationDeg) <= 180):
		return nil, fmt.Errorf("a declination of %g°", *t.DeclinationDeg)
	case len(t.Curves) > maxChannels:
		return nil, fmt.Errorf("a turn with %d channels: %d are the most", len(t.Curves), maxChannels)
	}
	l := turnLine{
		Kind: "turn", Time: stamp(t.Time), Place: place, Program: linefile.Printable(t.Program, maxName),
		Source: linefile.Printable(t.Source, maxNote), ThresholdDB: round(t.ThresholdDB, 100), Curves: []curveLine{},
	}
	if t.HeightM != nil {
		l.HeightM = round(*t.HeightM, 100)
	}
	if t.DeclinationDeg != nil {
		l.DeclinationDeg = round(*t.DeclinationDeg, 10)
	}
	for _, c := range t.Curves {
		if err := checkRF(c.RFChannel); err != nil {
			return nil, err
		}
		if len(c.Points) > maxPointsKept {
			return nil, fmt.Errorf("a curve of %d points: %d are the most", len(c.Points), maxPointsKept)
		}
		cl := curveLine{RFChannel: c.RFChannel, Points: [][2]float64{}}
		for _, p := range c.Points {
			deg, level := round(p.BearingDeg, 10), round(p.LevelDB, 100)
			if deg == nil || level == nil {
				return nil, errors.New("a curve with a point that is no number")
			}
			cl.Points = append(cl.Points, [2]float64{*deg, *level})
		}
		l.Curves = append(l.Curves, cl)
	}
	return l, nil
}

func (d *decoder) turn(l turnLine) error {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil {
		return errors.New("its time is not RFC 3339")
	}
	t := TurnRecord{
		Time: at, Place: linefile.Printable(l.Place, maxName), HeightM: l.HeightM, Program: linefile.Printable(l.Program, maxName),
		Source: linefile.Printable(l.Source, maxNote), DeclinationDeg: l.DeclinationDeg,
	}
	if l.ThresholdDB != nil {
		t.ThresholdDB = *l.ThresholdDB
	}
	switch {
	case t.Place == "":
		return errors.New("it names no place")
	case t.HeightM != nil && !(math.Abs(*t.HeightM) <= maxHeightM):
		return errors.New("its height is impossible")
	case t.DeclinationDeg != nil && !(math.Abs(*t.DeclinationDeg) <= 180):
		return errors.New("its declination is impossible")
	case len(l.Curves) > maxChannels:
		return fmt.Errorf("it has more than %d channels", maxChannels)
	}
	for _, cl := range l.Curves {
		if err := checkRF(cl.RFChannel); err != nil {
			return err
		}
		if len(cl.Points) > maxPointsKept {
			return fmt.Errorf("a curve of it has more than %d points", maxPointsKept)
		}
		c := Curve{RFChannel: cl.RFChannel}
		for _, p := range cl.Points {
			if !(p[0] >= 0 && p[0] <= 360 && math.Abs(p[1]) <= 1e3) {
				return errors.New("a point of it is impossible")
			}
			c.Points = append(c.Points, Aimed{BearingDeg: p[0], LevelDB: p[1]})
		}
		slices.SortStableFunc(c.Points, func(a, b Aimed) int {
			switch {
			case a.BearingDeg < b.BearingDeg:
				return -1
			case a.BearingDeg > b.BearingDeg:
				return 1
			}
			return 0
		})
		t.Curves = append(t.Curves, c)
	}
	d.house.Turns = append(d.house.Turns, t)
	return nil
}

// At reports whether the turn was made at a place and height, whatever their
// spelling. A height that was not told may be any.
func (t *TurnRecord) At(place string, heightM *float64, o Options) bool {
	return placeKey(t.Place) == placeKey(place) && o.heights(t.HeightM, heightM, o.HandM)
}
