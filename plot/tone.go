package plot

import (
	"image/color"
	"math"
)

// The margins at the two ends of the scale, dB. What lies beyond takes the
// end's tone.
const (
	toneLowDB  = -20.0
	toneHighDB = 30.0
)

// lab is a colour in CIE 1976 L*a*b* under D65.
type lab struct{ l, a, b float64 }

// duskPath are the control points of a cubic Bézier curve in CIE L*a*b* from
// pale sand through rose to night blue. Lightness falls all the way, so the
// scale survives a photocopier; hue turns along the axis from yellow to blue
// that protanopes and deuteranopes keep; and there is no green for good nor
// red for bad in it. More margin is more ink.
func duskPath() [4]lab {
	return [4]lab{{90, 3, 28}, {73, 16, 36}, {50, 26, -26}, {16, 12, -35}}
}

// scale turns a margin into a tone, in steps that look alike everywhere: it
// walks its curve at an even speed in CIE L*a*b*.
type scale struct {
	at []lab // evenly spaced along the curve
}

func newScale() *scale {
	const fine, coarse = 2048, 256
	p := duskPath()
	curve := make([]lab, fine+1)
	walked := make([]float64, fine+1)
	for i := range curve {
		curve[i] = bezier(p, float64(i)/fine)
		if i > 0 {
			walked[i] = walked[i-1] + distance(curve[i-1], curve[i])
		}
	}
	s := &scale{at: make([]lab, coarse+1)}
	j := 0
	for i := range s.at {
		goal := walked[fine] * float64(i) / coarse
		for j < fine-1 && walked[j+1] < goal {
			j++
		}
		s.at[i] = mix(curve[j], curve[j+1], (goal-walked[j])/(walked[j+1]-walked[j]))
	}
	return s
}

// lab returns the scale's colour at a margin in dB.
func (s *scale) lab(marginDB float64) lab {
	t := (marginDB - toneLowDB) / (toneHighDB - toneLowDB) * float64(len(s.at)-1)
	switch {
	case t >= float64(len(s.at)-1):
		return s.at[len(s.at)-1]
	case t > 0:
		i := int(t)
		return mix(s.at[i], s.at[i+1], t-float64(i))
	}
	return s.at[0] // NaN too
}

// tone is the colour for paper: dark on a white ground for much margin.
func (s *scale) tone(marginDB float64) color.RGBA { return s.lab(marginDB).rgb() }

// screenTone is the colour for a terminal, whose ground may be black or white:
// the same hues, with a lightness that is read on both.
func (s *scale) screenTone(marginDB float64) color.RGBA {
	c := s.lab(marginDB)
	top, bottom := s.at[0].l, s.at[len(s.at)-1].l
	c.l = 48 + 24*(c.l-bottom)/(top-bottom)
	return c.rgb()
}

// on is black or white, whichever is read better on c. They meet at the
// lightness where both have a contrast of √21 = 4.6 (WCAG 2.2).
func on(c lab) color.Color {
	if c.l < 49.5 {
		return color.White
	}
	return color.Black
}

func bezier(p [4]lab, t float64) lab {
	q0, q1, q2 := mix(p[0], p[1], t), mix(p[1], p[2], t), mix(p[2], p[3], t)
	return mix(mix(q0, q1, t), mix(q1, q2, t), t)
}

func mix(p, q lab, t float64) lab {
	return lab{p.l + t*(q.l-p.l), p.a + t*(q.a-p.a), p.b + t*(q.b-p.b)}
}

// distance is the CIE 1976 colour difference.
func distance(p, q lab) float64 {
	return math.Sqrt((p.l-q.l)*(p.l-q.l) + (p.a-q.a)*(p.a-q.a) + (p.b-q.b)*(p.b-q.b))
}

// linear returns linear sRGB, which may lie outside 0…1. The formulas are CIE
// 15 (L*a*b* under D65) and IEC 61966-2-1 (sRGB).
func (c lab) linear() (r, g, b float64) {
	const knee = 6.0 / 29
	inverse := func(t float64) float64 {
		if t > knee {
			return t * t * t
		}
		return 3 * knee * knee * (t - 4.0/29)
	}
	fy := (c.l + 16) / 116
	x := 0.95047 * inverse(fy+c.a/500)
	y := inverse(fy)
	z := 1.08883 * inverse(fy-c.b/200)
	return 3.2404542*x - 1.5371385*y - 0.4985314*z,
		-0.9692660*x + 1.8760108*y + 0.0415560*z,
		0.0556434*x - 0.2040259*y + 1.0572252*z
}

func (c lab) rgb() color.RGBA {
	encode := func(v float64) uint8 {
		switch {
		case !(v > 0):
			return 0
		case v >= 1:
			return 255
		case v <= 0.0031308:
			v *= 12.92
		default:
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		return uint8(math.Round(255 * v))
	}
	r, g, b := c.linear()
	return color.RGBA{encode(r), encode(g), encode(b), 255}
}
