package site

import (
	"math"
	"slices"
)

// beam is top − drop·fall(x − center).
type beam struct {
	center, top, drop float64
}

func (b beam) at(x float64) float64 { return b.top - b.drop*fall(x-b.center) }

// fall is −ln cos of an angle in degrees, to the eighth order: within 1 % up to
// 60°, and beyond without the cosine's zero.
func fall(deg float64) float64 {
	x := deg * math.Pi / 180
	x *= x
	return x * (1./2 + x*(1./12+x*(1./45+x*17/2520)))
}

// width is the full width in degrees where the beam is db below its top.
func (b beam) width(db float64) float64 {
	low, high := 0.0, 180.0
	for range 40 {
		if middle := (low + high) / 2; b.drop*fall(middle) < db {
			low = middle
		} else {
			high = middle
		}
	}
	return low + high
}

// fitBeam fits a beam to points within half degrees of the window's middle,
// and sets how far each is trusted.
func fitBeam(points []point, half float64) (beam, bool) {
	var b beam
	reach := 0.7 * half
	for range 4 {
		var ok bool
		if b, ok = leastSquares(points, b.center, reach); !ok {
			return b, false
		}
		reach = math.Min(reach, 5)
		residuals := make([]float64, len(points))
		for i, p := range points {
			residuals[i] = p.level - b.at(p.deg)
		}
		scale := spread(residuals)
		for i, r := range residuals {
			points[i].trust = huber(r, scale)
		}
	}
	return b, true
}

// leastSquares finds the center by search, within reach of a guess; top and
// drop then follow from a straight line.
func leastSquares(points []point, guess, reach float64) (beam, bool) {
	if len(points) < 3 {
		return beam{}, false
	}
	cost := func(center float64) float64 { _, c := straight(points, center); return c }
	const steps = 8
	best, least := guess, math.Inf(1)
	for i := -steps; i <= steps; i++ {
		c := guess + reach*float64(i)/steps
		if v := cost(c); v < least {
			best, least = c, v
		}
	}
	if math.IsInf(least, 1) {
		return beam{}, false
	}
	// Golden section between the neighbours of the best.
	const ratio = 0.6180339887498949
	a, b := best-reach/steps, best+reach/steps
	c, d := b-ratio*(b-a), a+ratio*(b-a)
	atC, atD := cost(c), cost(d)
	for b-a > 0.01 {
		if atC < atD {
			b, d, atD = d, c, atC
			c = b - ratio*(b-a)
			atC = cost(c)
		} else {
			a, c, atC = c, d, atD
			d = a + ratio*(b-a)
			atD = cost(d)
		}
	}
	found, _ := straight(points, (a+b)/2)
	return found, found.drop > 0
}

// straight fits top and drop for a given center, and returns the weighted sum
// of squares; +Inf where the beam would open downwards.
func straight(points []point, center float64) (beam, float64) {
	var w, wx, wxx, wy, wxy, wyy float64
	for _, p := range points {
		k, x, y := p.weight*p.trust, fall(p.deg-center), p.level
		w += k
		wx += k * x
		wxx += k * x * x
		wy += k * y
		wxy += k * x * y
		wyy += k * y * y
	}
	det := w*wxx - wx*wx
	if !(det > 1e-12*w*w) {
		return beam{}, math.Inf(1)
	}
	slope := (w*wxy - wx*wy) / det
	if slope >= 0 {
		return beam{}, math.Inf(1)
	}
	top := (wy - slope*wx) / w
	return beam{center, top, -slope}, wyy - top*wy - slope*wxy
}

// formal is the uncertainty of the center that follows from the points' own:
// the diagonal element of the inverse of JᵀWJ.
func formal(in []point, b beam) float64 {
	var m [3][3]float64
	for _, p := range in {
		x := p.deg - b.center
		const h = 0.01
		row := [3]float64{1, -fall(x), b.drop * (fall(x+h) - fall(x-h)) / (2 * h)}
		for i := range row {
			for j := range row {
				m[i][j] += p.weight * p.trust * row[i] * row[j]
			}
		}
	}
	minor := m[0][0]*m[1][1] - m[0][1]*m[1][0]
	det := m[2][2]*minor -
		m[2][1]*(m[0][0]*m[1][2]-m[0][2]*m[1][0]) +
		m[2][0]*(m[0][1]*m[1][2]-m[0][2]*m[1][1])
	if !(det > 0) || !(minor > 0) {
		return 180 // nothing is known of it
	}
	return math.Min(180, math.Sqrt(minor/det))
}

// between is the uncertainty of the center that shows in several passes over
// the lobe, each fitted alone; 0 where there is only one.
func between(in []point, full beam, half float64) float64 {
	var centers []float64
	for from := 0; from < len(in); {
		to := from + 1
		for to < len(in) && in[to].order == in[to-1].order+1 {
			to++
		}
		pass := in[from:to]
		from = to
		low, high := 0.0, 0.0
		for _, p := range pass {
			low, high = math.Min(low, p.deg), math.Max(high, p.deg)
		}
		if len(pass) < 2*minPoints || low > -0.6*half || high < 0.6*half {
			continue
		}
		if b, ok := leastSquares(pass, full.center, 0.7*half); ok {
			centers = append(centers, b.center)
		}
	}
	n := float64(len(centers))
	if n < 2 {
		return 0
	}
	var mean, square float64
	for _, c := range centers {
		mean += c / n
	}
	for _, c := range centers {
		square += (c - mean) * (c - mean)
	}
	return math.Sqrt(square / (n - 1) / n)
}

// errorsOf are standard uncertainties of a beam.
type errorsOf struct{ center, top, drop, width float64 }

// jackknife leaves out one block of neighbouring points at a time, and takes
// the spread of what the rest gives, times √((blocks − 1)/blocks · Σ…).
func jackknife(in []point, full beam) (errorsOf, bool) {
	slices.SortFunc(in, func(a, b point) int { return a.order - b.order })
	n := min(blocks, len(in))
	var list []beam
	for k := range n {
		from, to := k*len(in)/n, (k+1)*len(in)/n
		rest := slices.Concat(in[:from], in[to:])
		if b, ok := leastSquares(rest, full.center, 10); ok {
			list = append(list, b)
		}
	}
	if len(list) < 3 || len(list) < n-2 {
		return errorsOf{}, false
	}
	of := func(value func(beam) float64) float64 {
		var mean, square float64
		for _, b := range list {
			mean += value(b) / float64(len(list))
		}
		for _, b := range list {
			square += (value(b) - mean) * (value(b) - mean)
		}
		return math.Sqrt(square * float64(len(list)-1) / float64(len(list)))
	}
	return errorsOf{
		center: of(func(b beam) float64 { return b.center }),
		top:    of(func(b beam) float64 { return b.top }),
		drop:   of(func(b beam) float64 { return b.drop }),
		width:  of(func(b beam) float64 { return b.width(3) }),
	}, true
}

// spread is a standard deviation that outliers do not touch: 1.4826 times the
// median deviation.
func spread(residuals []float64) float64 {
	a := make([]float64, 0, len(residuals))
	for _, r := range residuals {
		if !math.IsNaN(r) {
			a = append(a, math.Abs(r))
		}
	}
	if len(a) == 0 {
		return 0
	}
	slices.Sort(a)
	return 1.4826 * a[len(a)/2]
}

// huber is the weight of a residual: 1 up to 1.5 standard deviations. Beyond
// four it falls faster, for those are not noise.
func huber(r, scale float64) float64 {
	const floor = 0.05 // dB
	z := math.Abs(r) / math.Max(scale, floor)
	switch {
	case math.IsNaN(z):
		return 0
	case z <= 1.5:
		return 1
	case z <= 4:
		return 1.5 / z
	}
	return 1.5 * 4 / (z * z)
}
