package sim

import (
	"fmt"
	"math"
	"math/cmplx"

	"rooftone/dsp/air"
)

// Antenna is what the radio hears a town's stations with. Without one they
// arrive with their own levels whatever their bearings; with one a level is
// what arrives when it points there. Tones, services and impulses are heard
// from everywhere.
type Antenna struct {
	// BeamwidthDeg is the full width of the beam between the points 3 dB down.
	// The beam is a cosine to a power, as that of most small antennas is near
	// its middle.
	BeamwidthDeg float64 `toml:"beamwidth_deg"`

	// FrontToBackDB is how far below the middle of the beam lies what it hears
	// from the sides and from behind.
	FrontToBackDB float64 `toml:"front_to_back_db"`

	BearingDeg  float64 `toml:"bearing_deg"`    // where it points at time 0, clockwise from north
	RateDegPerS float64 `toml:"rate_deg_per_s"` // how fast it turns, clockwise; in the radio's own time

	// EastM and NorthM are where it stands, from the place for which the town
	// states its echoes' phases. A path's phase advances by a turn with each
	// wavelength towards where it comes from, so that paths from several
	// bearings stand in waves: between two opposite ones the nulls lie half a
	// wavelength apart.
	EastM  float64 `toml:"east_m"`
	NorthM float64 `toml:"north_m"`
}

// lightSpeed is in m/s.
const lightSpeed = 299792458

// stands returns the phase, as a factor, that a path has where the antenna
// stands.
func (a *Antenna) stands(fromDeg, hz float64) complex128 {
	sin, cos := math.Sincos(fromDeg * math.Pi / 180)
	cycles := (a.EastM*sin + a.NorthM*cos) * hz / lightSpeed
	return cmplx.Rect(1, 2*math.Pi*math.Mod(cycles, 1))
}

func (a *Antenna) validate() error {
	if a == nil {
		return nil
	}
	return check(
		limit{"beamwidth_deg", a.BeamwidthDeg, 10, 170},
		limit{"front_to_back_db", a.FrontToBackDB, 0, 60},
		limit{"bearing_deg", a.BearingDeg, 0, 360},
		limit{"rate_deg_per_s", a.RateDegPerS, -360, 360},
		limit{"east_m", a.EastM, -1000, 1000},
		limit{"north_m", a.NorthM, -1000, 1000},
	)
}

// Pointing returns where the antenna points at a time in seconds, 0 to 360.
func (a *Antenna) Pointing(seconds float64) float64 {
	deg := math.Mod(a.BearingDeg+a.RateDegPerS*seconds, 360)
	if deg < 0 {
		deg += 360
	}
	return deg
}

// GainDB returns what the antenna makes of a path from a bearing while it
// points to another, in dB relative to the middle of the beam: with b the
// front-to-back ratio, (1 − b)·cosⁿ + b in power, where n is such that cosⁿ is
// one half at half the beam's width.
func (a *Antenna) GainDB(fromDeg, pointingDeg float64) float64 {
	return 10 * math.Log10(a.power(fromDeg-pointingDeg))
}

func (a *Antenna) power(offDeg float64) float64 {
	back := air.Power(-a.FrontToBackDB)
	c := math.Cos(offDeg * math.Pi / 180)
	if c <= 0 {
		return back
	}
	n := -math.Ln2 / math.Log(math.Cos(a.BeamwidthDeg/2*math.Pi/180))
	return (1-back)*math.Pow(c, n) + back
}

// hears returns the gain with which a station's path is heard at a time; echo −1
// is the main path. Without an antenna it is 1.
func (e *station) hears(echo int, seconds float64) complex128 {
	if e.antenna == nil {
		return 1
	}
	from := e.BearingDeg
	if echo >= 0 && e.Echoes[echo].BearingDeg != nil {
		from = *e.Echoes[echo].BearingDeg
	}
	amplitude := math.Sqrt(e.antenna.power(from - e.antenna.Pointing(seconds)))
	return complex(amplitude, 0) * e.antenna.stands(from, e.middleHz)
}

// levelDBm is the level of the main path as it is heard now.
func (e *station) levelDBm() float64 {
	if e.antenna == nil {
		return e.LevelDBm
	}
	return e.LevelDBm + 20*math.Log10(cmplx.Abs(e.hears(-1, e.now())))
}

// Rotate points the town's antenna to a bearing and has it turn from there, from
// now on, by so many degrees a second of the radio's own time, clockwise.
func (t *Tuner) Rotate(bearingDeg, rateDegPerS float64) error {
	if t.antenna == nil {
		return fmt.Errorf("turning the antenna: the town %s has none that can be turned", t.town.Name)
	}
	if err := check(limit{"bearing_deg", bearingDeg, 0, 360}, limit{"rate_deg_per_s", rateDegPerS, -360, 360}); err != nil {
		return fmt.Errorf("turning the antenna: %w", err)
	}
	a := *t.antenna
	a.RateDegPerS = rateDegPerS
	a.BearingDeg = 0
	a.BearingDeg = math.Mod(bearingDeg-a.Pointing(t.now())+720, 360)
	*t.antenna = a
	return nil
}

// Move puts the town's antenna to a place, in metres east and north of the one
// for which the town states its echoes' phases.
func (t *Tuner) Move(eastM, northM float64) error {
	if t.antenna == nil {
		return fmt.Errorf("moving the antenna: the town %s has none that can be moved", t.town.Name)
	}
	if err := check(limit{"east_m", eastM, -1000, 1000}, limit{"north_m", northM, -1000, 1000}); err != nil {
		return fmt.Errorf("moving the antenna: %w", err)
	}
	t.antenna.EastM, t.antenna.NorthM = eastM, northM
	return nil
}
