package path

import (
	"fmt"
	"math"
)

// Mode is how most of a signal arrives.
type Mode string

// The ways.
const (
	InSight   Mode = "sight"       // along the line of sight
	Bent      Mode = "diffraction" // bent over the horizon
	Scattered Mode = "scatter"     // scattered by uneven air
)

// Prediction is what the model says of a path.
type Prediction struct {
	Mode        Mode
	DistanceM   float64
	FreeSpaceDB float64
	ReferenceDB float64 // the median loss beyond free space before the climate's allowance
	UnevenM     float64 // Δh
	// Of each end:
	HorizonM     [2]float64
	ElevationRad [2]float64
	EffectiveM   [2]float64
	SurfaceN     float64 // refractivity

	// Of a profile: whether ground stands above the straight line between the
	// antennas, as rays see the earth, and how far from each end the ground is that
	// hides the other. Mode goes by a smooth earth's horizons instead.
	Hidden bool
	SeenM  [2]float64

	ground  *ground
	climate Climate
}

// Predict returns what the model says of two antennas with a profile of the ground
// between them.
func Predict(l Link, p Profile) (*Prediction, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	if err := p.check(); err != nil {
		return nil, err
	}
	return predict(l, groundOf(l, p))
}

// PredictOver returns what the model says of two antennas of which only the distance
// and the unevenness of the ground between them are known, 0 for a smooth earth and
// 90 m for ordinary hills (NTIA Report 82-100, Table 2); sited without care.
func PredictOver(l Link, distanceM, unevenM float64) (*Prediction, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	if !(distanceM > 0) || math.IsInf(distanceM, 1) || !(unevenM >= 0) || math.IsInf(unevenM, 1) {
		return nil, fmt.Errorf("a path of %g m over ground uneven by %g m", distanceM, unevenM)
	}
	g := &ground{distance: distanceM, uneven: unevenM, wavenumber: l.wavenumber(), impedance: l.impedance()}
	g.surfaceN, g.curvature = l.curvature(0)
	for i := range g.ends {
		e := &g.ends[i]
		e.height, e.effective = l.HeightsM[i], l.HeightsM[i]
		flat := g.smoothHorizon(e)
		e.horizon = flat * math.Exp(-0.07*math.Sqrt(unevenM/max(e.effective, 5)))
		e.elevation = (0.65*unevenM*(flat/e.horizon-1) - 2*e.effective) / flat
	}
	return predict(l, g)
}

func predict(l Link, g *ground) (*Prediction, error) {
	switch earth := 1 / g.curvature; {
	case !(g.surfaceN >= 150 && g.surfaceN <= 400):
		return nil, fmt.Errorf("the terrain model does not hold at a surface refractivity of %.0f: the path is too high or too low", g.surfaceN)
	case !(earth >= 4e6 && earth <= 13333333):
		return nil, fmt.Errorf("the terrain model does not hold where rays see an earth of %.0f km", earth/1e3)
	case real(g.impedance) <= math.Abs(imag(g.impedance)):
		return nil, fmt.Errorf("the terrain model does not hold over ground of permittivity %g and conductivity %g at %g MHz", l.Permittivity, l.Conductivity, l.FrequencyHz/1e6)
	}
	p := &Prediction{DistanceM: g.distance, FreeSpaceDB: FreeSpaceDB(l.FrequencyHz, g.distance), UnevenM: g.uneven, SurfaceN: g.surfaceN, Hidden: g.hidden, SeenM: g.seenM, ground: g, climate: l.Climate}
	for i, e := range g.ends {
		if !(e.effective > 0 && e.horizon > 0) {
			return nil, fmt.Errorf("the terrain model finds no horizon for antenna %d", i+1)
		}
		p.HorizonM[i], p.ElevationRad[i], p.EffectiveM[i] = e.horizon, e.elevation, e.effective
	}
	p.ReferenceDB, p.Mode = g.reference()
	if math.IsNaN(p.ReferenceDB) {
		return nil, fmt.Errorf("the terrain model has no answer for this path of %.0f m", g.distance)
	}
	return p, nil
}

// reference is the reference attenuation: Hufford, 4.
func (g *ground) reference() (float64, Mode) {
	bent := g.diffraction()
	reach := g.smoothReach()
	scale := math.Cbrt(1 / (g.megahertz() * g.curvature * g.curvature))
	d3 := max(reach, bent.horizons+5*scale)
	d4 := d3 + 10*scale
	a3, a4 := bent.at(d3), bent.at(d4)
	line := curve{b: (a4 - a3) / (d4 - d3)}
	line.a = a3 - line.b*d3
	if g.distance < reach {
		return max(g.sight(line).at(g.distance), 0), InSight
	}
	s := &scatter{ground: g, before: -15}
	d5 := bent.horizons + 200e3
	d6 := d5 + 200e3
	a6, ok6 := s.at(d6)
	a5, ok5 := s.at(d5)
	if ok5 && ok6 {
		far := (a6 - a5) / 200e3
		from := max(reach, bent.horizons+1.088*scale*math.Log(g.megahertz()), (a5-line.a-far*d5)/(line.b-far))
		if g.distance > from {
			return max(line.at2(from)+far*(g.distance-from), 0), Scattered
		}
	}
	return max(line.at2(g.distance), 0), Bent
}

// at2 is at without the logarithm.
func (c curve) at2(d float64) float64 { return c.a + c.b*d }
