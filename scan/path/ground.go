package path

import (
	"math"
	"slices"
)

// terminal is one end of a path as the model sees it.
type terminal struct {
	height    float64 // above the ground, m
	effective float64 // above the ground that reflects, m
	horizon   float64 // distance of its horizon, m
	elevation float64 // of the horizon above the horizontal, rad
}

// ground is what the model keeps of the terrain.
type ground struct {
	distance   float64 // m
	uneven     float64 // Δh: the middle 80 % of the heights over a straight line, m
	curvature  float64 // of the effective earth, 1/m
	surfaceN   float64 // refractivity
	ends       [2]terminal
	pointwise  bool // from a profile, not from statistics
	hidden     bool // ground stands above the line between the antennas
	seenM      [2]float64
	wavenumber float64
	impedance  complex128
}

// megahertz is the frequency by which the model's constants count.
func (g *ground) megahertz() float64 { return g.wavenumber * perWavenumber }

// groundOf reads a profile: Hufford, 2 and its appendix on the point-to-point mode.
func groundOf(l Link, p Profile) *ground {
	g := &ground{distance: p.DistanceM(), pointwise: true, wavenumber: l.wavenumber(), impedance: l.impedance()}
	g.surfaceN, g.curvature = l.curvature(p.middle())
	for i := range g.ends {
		g.ends[i].height = l.HeightsM[i]
	}
	g.findHorizons(p)
	near := func(t terminal) float64 { return min(15*t.height, 0.1*t.horizon) }
	from, to := near(g.ends[0]), g.distance-near(g.ends[1])
	g.uneven = p.uneven(from, to)
	if g.ends[0].horizon+g.ends[1].horizon > 1.5*g.distance {
		first, last := p.line(from, to)
		g.rise(p, first, last)
		g.smooth()
		return g
	}
	first, _ := p.line(from, 0.9*g.ends[0].horizon)
	_, last := p.line(g.distance-0.9*g.ends[1].horizon, to)
	g.rise(p, first, last)
	return g
}

// rise sets the effective heights: above the fitted ground where that is lower than
// the true one.
func (g *ground) rise(p Profile, first, last float64) {
	g.ends[0].effective = g.ends[0].height + max(p.M[0]-first, 0)
	g.ends[1].effective = g.ends[1].height + max(p.M[len(p.M)-1]-last, 0)
}

// smooth gives the ends of a path in sight of each other the horizons that ground of
// its unevenness would give.
func (g *ground) smooth() {
	reach := func() (sum float64) {
		for i := range g.ends {
			e := &g.ends[i]
			e.horizon = g.smoothHorizon(e) * math.Exp(-0.07*math.Sqrt(g.uneven/max(e.effective, 5)))
			sum += e.horizon
		}
		return sum
	}
	if sum := reach(); sum <= g.distance {
		for i := range g.ends {
			g.ends[i].effective *= (g.distance / sum) * (g.distance / sum)
		}
		reach()
	}
	for i := range g.ends {
		e := &g.ends[i]
		flat := g.smoothHorizon(e)
		e.elevation = (0.65*g.uneven*(flat/e.horizon-1) - 2*e.effective) / flat
	}
}

// smoothHorizon is how far a terminal sees over a smooth earth: Hufford, equation
// 3.5.
func (g *ground) smoothHorizon(t *terminal) float64 {
	return math.Sqrt(2 * t.effective / g.curvature)
}

// findHorizons finds the highest elevation that each end sees. Where nothing stands
// above the line between them, each is the other's horizon.
func (g *ground) findHorizons(p Profile) {
	last := len(p.M) - 1
	eyes := [2]float64{p.M[0] + g.ends[0].height, p.M[last] + g.ends[1].height}
	drop := g.curvature / 2
	for i := range g.ends {
		g.ends[i].horizon = g.distance
		g.ends[i].elevation = (eyes[1-i]-eyes[i])/g.distance - g.distance*drop
	}
	// The distances are summed step by step as the authors' program does: where a
	// horizon is ten steps away, the last bit decides where the fits begin.
	away := [2]float64{0, g.distance}
	for k := 1; k < last; k++ {
		away[0], away[1] = away[0]+p.StepM, away[1]-p.StepM
		for i, away := range away {
			up := (p.M[k]-eyes[i])/away - away*drop
			if e := &g.ends[i]; up > e.elevation {
				e.elevation, e.horizon, g.hidden = up, away, true
			}
		}
	}
	for i := range g.ends {
		g.seenM[i] = g.ends[i].horizon
	}
}

// middle is the mean height of the middle 80 % of a profile.
func (p Profile) middle() float64 {
	n := len(p.M) - 1
	skip := n / 10
	sum := 0.0
	for _, h := range p.M[skip : n-skip+1] {
		sum += h
	}
	return sum / float64(n-2*skip+1)
}

// line fits a straight line to the heights between two distances and returns its
// height at the profile's beginning and end. The model's fit weighs the outermost
// points by half.
func (p Profile) line(fromM, toM float64) (first, last float64) {
	n := len(p.M) - 1
	lo := int(max(fromM/p.StepM, 0))
	hi := n - int(max(float64(n)-toM/p.StepM, 0))
	if hi <= lo {
		lo = max(lo-1, 0)
		hi = n - max(n-(hi+1), 0)
	}
	width := float64(hi - lo)
	mean := (p.M[lo] + p.M[hi]) / 2
	slope := (p.M[hi] - p.M[lo]) / 2 * width / 2
	for k := lo + 1; k < hi; k++ {
		mean += p.M[k]
		slope += p.M[k] * (float64(k-lo) - width/2)
	}
	mean /= width
	slope *= 12 / ((width*width + 2) * width)
	middle := float64(lo) + width/2
	return mean - slope*middle, mean + slope*(float64(n)-middle)
}

// uneven is Δh: what lies between the tenth and the ninetieth percentile of the
// heights over a fitted line, as it would be on a long path: Hufford, equations 2.2
// and 2.3. The stretch is taken at up to 245 equal steps.
func (p Profile) uneven(fromM, toM float64) float64 {
	from, to := fromM/p.StepM, toM/p.StepM
	if to-from < 2 {
		return 0
	}
	tenth := min(max(int(0.1*(to-from+8)), 4), 25)
	count := 10*tenth - 5
	taken := Profile{StepM: 1, M: make([]float64, count)}
	for j := range taken.M {
		taken.M[j] = p.at(from + float64(j)*(to-from)/float64(count-1))
	}
	first, last := taken.line(0, float64(count-1))
	slope := (last - first) / float64(count-1)
	for j := range taken.M {
		taken.M[j] -= first + slope*float64(j)
	}
	slices.Sort(taken.M)
	return (taken.M[count-tenth] - taken.M[tenth-1]) / spreadAt(toM-fromM)
}

// at is the height at a fraction of steps.
func (p Profile) at(x float64) float64 {
	k := min(max(int(x), 0), len(p.M)-2)
	f := x - float64(k)
	return p.M[k] + (p.M[k+1]-p.M[k])*f
}

// spreadAt is the share of the long path's unevenness that a distance shows:
// Hufford, equation 3.9.
func spreadAt(distanceM float64) float64 { return 1 - 0.8*math.Exp(-distanceM/50e3) }

// unevenAt is Δh over a distance.
func (g *ground) unevenAt(distanceM float64) float64 { return spreadAt(distanceM) * g.uneven }

// roughnessAt is the standard deviation of the heights within the first Fresnel zone:
// Hufford, equation 3.10.
func (g *ground) roughnessAt(distanceM float64) float64 {
	d := g.unevenAt(distanceM)
	return 0.78 * d * math.Exp(-math.Pow(d/16, 0.25))
}
