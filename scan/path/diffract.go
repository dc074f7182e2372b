package path

import (
	"math"
	"math/cmplx"
)

// diffraction is what does not depend on the distance when a signal bends around the
// earth and over the horizons: Hufford, 4.2.
type diffraction struct {
	*ground
	sum      float64 // of both horizons' elevations, rad
	horizons float64 // sum of their distances, m
	clutter  float64 // what the ground about the antennas costs, dB
	lift     float64 // weight of effective against true heights
	pastX    float64 // the smooth earth's reach up to the horizons, without unit
	pastDB   float64 // the height gains there
}

func (g *ground) diffraction() *diffraction {
	a, b := &g.ends[0], &g.ends[1]
	d := &diffraction{ground: g, horizons: a.horizon + b.horizon}
	d.sum = max(a.elevation+b.elevation, -d.horizons*g.curvature)
	product := a.height * b.height
	effective := a.effective * b.effective
	if g.pointwise {
		// So that low antennas on a hill count as high ones.
		d.lift = math.Sqrt((effective + 10) / (product + 10))
	} else {
		d.lift = math.Sqrt(effective / product)
	}
	rough := g.roughnessAt(g.smoothReach())
	d.clutter = min(15, 5*math.Log10(1+1e-5*product*g.megahertz()*rough))
	d.pastDB = 20
	for i := range g.ends {
		e := &g.ends[i]
		radius := e.horizon * e.horizon / (2 * e.effective)
		x, k := g.bend(radius, e.horizon/radius)
		d.pastX += x
		d.pastDB += heightGain(x, k)
	}
	return d
}

// smoothReach is the sum of the smooth earth's horizons.
func (g *ground) smoothReach() float64 {
	return g.smoothHorizon(&g.ends[0]) + g.smoothHorizon(&g.ends[1])
}

// bend turns an angle over a sphere into the measure of the smooth earth's field, and
// gives what the ground's impedance makes of it: L. E. Vogler, Calculation of
// groundwave attenuation in the far diffraction region, Radio Science 68D (1964),
// equations 2, 6a and 7a.
func (g *ground) bend(radius, angle float64) (x, k float64) {
	const usualEarth = 4.0 / 3 * 6370e3 // m
	relative := math.Cbrt(usualEarth / radius)
	f := math.Cbrt(g.megahertz())
	k = 0.017778 * relative / (f * cmplx.Abs(g.impedance))
	return (1.607 - k) * relative * relative * f * radius * angle / 1e3, k
}

// heightGain is the smooth earth's height gain function: Hufford, equations 6.3 to
// 6.5.
func heightGain(x, k float64) float64 {
	far := func() float64 { return 40*math.Log10(x) - 117 }
	if x >= 200 {
		near := 0.05751*x - 10*math.Log10(x)
		if x >= 2000 {
			return near
		}
		w := 0.0134 * x * math.Exp(-0.005*x)
		return (1-w)*near + w*far()
	}
	w := -math.Log(k)
	switch {
	case k >= 1e-5 && x*w*w*w <= 5495:
		return 2.5e-5*x*x/k - 20*math.Log10(1/k) - 15
	case x > 1:
		return far()
	}
	return -117
}

// at is the loss beyond that of free space at a distance, dB.
func (d *diffraction) at(distanceM float64) float64 {
	angle := d.sum + distanceM*d.curvature // θ, by which the signal is bent
	gap := distanceM - d.horizons
	v2 := d.wavenumber / (4 * math.Pi) * gap * angle * angle
	a, b := d.ends[0].horizon, d.ends[1].horizon
	edges := edgeDB(v2*a/(gap+a)) + edgeDB(v2*b/(gap+b))
	x, _ := d.bend(gap/angle, angle)
	x += d.pastX
	sphere := 0.05751*x - 10*math.Log10(x) - d.pastDB
	w := d.roundness(distanceM)
	return w*sphere + (1-w)*edges + d.clutter
}

// roundness is the weight of the smooth earth against two edges: Hufford, equation 4.12.
func (d *diffraction) roundness(distanceM float64) float64 {
	q := d.unevenAt(distanceM) * d.wavenumber
	q = min(q, 6283.2) * (d.lift + (d.sum/d.curvature+d.horizons)/distanceM)
	return 25.1 / (25.1 + math.Sqrt(q))
}

// edgeDB is the model's approximation of the loss over one edge, given v²: Hufford,
// equation 6.1.
func edgeDB(v2 float64) float64 {
	if v2 < 5.76 {
		return 6.02 + 9.11*math.Sqrt(v2) - 1.27*v2
	}
	return 12.953 + 10*math.Log10(v2)
}
