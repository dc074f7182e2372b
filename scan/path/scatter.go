package path

import "math"

// scatter is what air that is not even carries beyond the horizon: Hufford, 4.5.
type scatter struct {
	*ground
	before float64 // H₀ of the distance asked before; negative: none
}

// at is its loss beyond that of free space; false where the antennas are so low that
// the model has none.
func (s *scatter) at(distanceM float64) (float64, bool) {
	a, b := s.ends[0], s.ends[1]
	angle := a.elevation + b.elevation + distanceM*s.curvature
	h0 := s.before
	if s.before <= 15 {
		var ok bool
		if h0, ok = s.gainLoss(distanceM, angle); !ok {
			return 0, false
		}
		s.before = h0
	}
	whole := s.sumOfElevations() + distanceM*s.curvature
	return scatterBase(whole*distanceM) + 10*math.Log10(s.megahertz()*math.Pow(whole, 4)) -
		0.1*(s.surfaceN-301)*math.Exp(-whole*distanceM/40e3) + h0, true
}

func (g *ground) sumOfElevations() float64 {
	a, b := g.ends[0], g.ends[1]
	return max(a.elevation+b.elevation, -(a.horizon+b.horizon)*g.curvature)
}

// gainLoss is H₀, the frequency gain function, which grows where the antennas are low
// in wavelengths: Hufford, equations 4.46 to 4.53 and 6.11 to 6.15.
func (s *scatter) gainLoss(distanceM, angle float64) (float64, bool) {
	lopsided := s.ends[0].horizon - s.ends[1].horizon
	ratio := s.ends[1].effective / s.ends[0].effective
	if lopsided < 0 {
		lopsided, ratio = -lopsided, 1/ratio
	}
	r1 := 2 * s.wavenumber * angle * s.ends[0].effective
	r2 := 2 * s.wavenumber * angle * s.ends[1].effective
	if r1 < 0.2 && r2 < 0.2 {
		return 0, false
	}
	asym := (distanceM - lopsided) / (distanceM + lopsided)
	q := min(max(ratio/asym, 0.1), 10)
	asym = max(asym, 0.1)
	crossing := (distanceM - lopsided) * (distanceM + lopsided) * angle * 0.25 / distanceM
	n := s.surfaceN
	layers := (n*5.67e-6-2.32e-3)*n + 0.031
	eta := crossing / 1.7556e3 * (1 + layers*math.Exp(-math.Pow(min(1.7, crossing/8e3), 6)))
	held := max(eta, 1)
	h0 := (gainTable(r1, held) + gainTable(r2, held)) / 2
	h0 += min(h0, 6*(0.6-math.Log10(held))*math.Log10(asym)*math.Log10(q))
	h0 = max(h0, 0)
	if eta < 1 {
		one := (1 + math.Sqrt2/r1) * (1 + math.Sqrt2/r2)
		h0 = eta*h0 + (1-eta)*10*math.Log10(one*one*(r1+r2)/(r1+r2+2*math.Sqrt2))
	}
	if h0 > 15 && s.before >= 0 {
		h0 = s.before
	}
	return h0, true
}

// gainTable is H₀₁ of a height in wavelengths and the scatter efficiency, which is
// tabled at whole numbers: Hufford, equation 6.13.
func gainTable(r, eta float64) float64 {
	a := [...]float64{25, 80, 177, 395, 705}
	b := [...]float64{24, 45, 68, 80, 105}
	entry := func(i int) float64 {
		x := 1 / (r * r)
		return 10 * math.Log10(1+x*(b[i]+x*a[i]))
	}
	whole := min(max(int(eta), 1), len(a))
	h := entry(whole - 1)
	if part := eta - float64(whole); part > 0 && whole < len(a) {
		h += part * (entry(whole) - h)
	}
	return h
}

// scatterBase is F(θd) for a refractivity of 301: Hufford, equation 6.9.
func scatterBase(thetaD float64) float64 {
	piece := [...]struct{ a, b, c float64 }{
		{133.4, 0.332e-3, -10},
		{104.6, 0.212e-3, -2.5},
		{71.8, 0.157e-3, 5},
	}
	i := 2
	switch {
	case thetaD <= 10e3:
		i = 0
	case thetaD <= 70e3:
		i = 1
	}
	return piece[i].a + piece[i].b*thetaD + piece[i].c*math.Log10(thetaD)
}
