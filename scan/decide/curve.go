package decide

import (
	"math"
	"slices"

	"rooftone/scan/site"
)

// curve is one channel's margin at every degree of the compass.
type curve struct {
	known [360]knowledge
	level [360]float64 // dB, where heard
	sigma [360]float64 // without what does not repeat from visit to visit

	points  []site.Aimed
	rest    []float64    // what the smooth curve leaves of each point
	weights [360][]share // of the points in the smooth curve
}

// share is what a point counts in a value of the smooth curve.
type share struct {
	point  int
	weight float64
}

// newCurve smooths points: at each degree a parabola through what is near, the
// weights falling as a Gaussian of kernelDeg (local regression; W. S.
// Cleveland, J. Am. Stat. Assoc. 74, 1979, 829). A heading that was covered, and
// no point is within reachDeg of, is one at which the channel was not heard.
func newCurve(points []site.Aimed, covered [360]bool, kernelDeg, reachDeg float64) *curve {
	c := &curve{}
	for _, p := range points {
		if !math.IsNaN(p.BearingDeg+p.LevelDB) && !math.IsInf(p.LevelDB, 0) {
			p.BearingDeg = math.Mod(math.Mod(p.BearingDeg, 360)+360, 360)
			c.points = append(c.points, p)
		}
	}
	trust := make([]float64, len(c.points))
	for i := range trust {
		trust[i] = 1
	}
	for round := range 3 {
		for g := range c.level {
			c.known[g], c.weights[g] = unknown, nil
			if covered[g] {
				c.known[g] = absent
			}
			if c.near(g, reachDeg) && covered[g] {
				c.known[g], c.weights[g] = heard, c.local(float64(g), kernelDeg, trust)
			}
		}
		c.level = c.smooth(nil)
		c.residuals()
		if round < 2 {
			c.distrust(trust)
		}
	}
	c.uncertainties()
	return c
}

// near reports whether a point is within reach of a heading.
func (c *curve) near(g int, reachDeg float64) bool {
	return slices.ContainsFunc(c.points, func(p site.Aimed) bool { return apart(p.BearingDeg, float64(g)) <= reachDeg })
}

// local is the weight of each point in the value at a heading: the first row of
// (XᵀKX)⁻¹XᵀK, for a parabola, or a straight line or a mean where the points
// are too few or all on one side.
func (c *curve) local(deg, kernelDeg float64, trust []float64) []share {
	var list []share
	var x []float64
	left, right := 0, 0
	var s [5]float64 // moments of x/kernel
	for i, p := range c.points {
		d := math.Remainder(p.BearingDeg-deg, 360) / kernelDeg
		if math.Abs(d) > 3 {
			continue
		}
		k := math.Exp(-d*d/2) * trust[i]
		list, x = append(list, share{i, k}), append(x, d)
		for n, v := 0, k; n < len(s); n, v = n+1, v*d {
			s[n] += v
		}
		if d < -0.3 {
			left++
		}
		if d > 0.3 {
			right++
		}
	}
	// a + b·x + c·x²: the coefficients of the row that gives a.
	a, b, q := 1/s[0], 0.0, 0.0
	det := s[0]*(s[2]*s[4]-s[3]*s[3]) - s[1]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*s[3]-s[2]*s[2])
	switch line := s[0]*s[2] - s[1]*s[1]; {
	case left > 1 && right > 1 && det > 1e-6*s[0]*s[0]*s[0]:
		a, b, q = (s[2]*s[4]-s[3]*s[3])/det, (s[2]*s[3]-s[1]*s[4])/det, (s[1]*s[3]-s[2]*s[2])/det
	case left > 0 && right > 0 && line > 1e-6*s[0]*s[0]:
		a, b = s[2]/line, -s[1]/line
	}
	for i := range list {
		list[i].weight *= a + b*x[i] + q*x[i]*x[i]
	}
	return list
}

// smooth is the curve of the points' levels, with something added to each where
// that is given.
func (c *curve) smooth(added []float64) (level [360]float64) {
	for g := range level {
		if c.known[g] != heard {
			level[g] = math.NaN()
			continue
		}
		for _, s := range c.weights[g] {
			v := c.points[s.point].LevelDB
			if added != nil {
				v += added[s.point]
			}
			level[g] += s.weight * v
		}
	}
	return level
}

// between is the smooth curve at any bearing.
func (c *curve) between(deg float64) float64 {
	low := math.Floor(deg)
	a, b := c.level[degree(low)], c.level[degree(low+1)]
	switch {
	case math.IsNaN(a):
		return b
	case math.IsNaN(b):
		return a
	}
	return a + (deg-low)*(b-a)
}

func (c *curve) residuals() {
	c.rest = make([]float64, len(c.points))
	for i, p := range c.points {
		if v := c.between(p.BearingDeg); !math.IsNaN(v) {
			c.rest[i] = p.LevelDB - v
		}
	}
}

// distrust gives points far from the curve less weight, after Huber.
func (c *curve) distrust(trust []float64) {
	scale := math.Max(0.1, c.scatter())
	for i, r := range c.rest {
		trust[i] = math.Min(1, 2*scale/math.Max(1e-9, math.Abs(r)))
	}
}

// scatter is a standard deviation that outliers do not touch: 1.4826 times the
// median deviation.
func (c *curve) scatter() float64 {
	if len(c.rest) == 0 {
		return 0
	}
	a := make([]float64, len(c.rest))
	for i, r := range c.rest {
		a[i] = math.Abs(r)
	}
	slices.Sort(a)
	return 1.4826 * a[len(a)/2]
}

// uncertainties: of each value, that of the points, of the bearings, of slow
// fading, and of headings between points that are far apart.
func (c *curve) uncertainties() {
	scatter := c.scatter()
	for g := range c.level {
		if c.known[g] != heard {
			continue
		}
		var square, gap float64
		gap = 360
		for _, s := range c.weights[g] {
			sigma := math.Max(scatter, c.points[s.point].SigmaDB)
			square += s.weight * s.weight * sigma * sigma
			gap = math.Min(gap, apart(c.points[s.point].BearingDeg, float64(g)))
		}
		slope := 0.0
		if a, b := c.between(float64(g-1)), c.between(float64(g+1)); !math.IsNaN(a + b) {
			slope = (b - a) / 2
		}
		// A parabola through marks 30° apart is within about a decibel of the
		// beams of common antennas: our own trial, see TestSingleFromMarks.
		const betweenDBPerDeg = 1. / 15
		c.sigma[g] = math.Sqrt(square + slope*slope*pointingDeg*pointingDeg + slowDB*slowDB + math.Pow(betweenDBPerDeg*math.Max(0, gap-site.CurveStepDeg), 2))
	}
}
