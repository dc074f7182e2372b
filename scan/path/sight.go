package path

import (
	"math"
	"math/cmplx"
)

// twoRays is the loss beyond that of free space in sight of each other, where the
// direct ray meets the one from the ground, weighed with what diffraction would
// cost: Hufford, 4.4.
func (g *ground) twoRays(distanceM float64, bent float64) float64 {
	a, b := g.ends[0].effective, g.ends[1].effective
	sin := (a + b) / math.Hypot(distanceM, a+b)
	s := complex(sin, 0)
	reflected := (s - g.impedance) / (s + g.impedance)
	reflected *= complex(math.Exp(-min(10, g.wavenumber*g.roughnessAt(distanceM)*sin)), 0)
	if q := real(reflected)*real(reflected) + imag(reflected)*imag(reflected); q < 0.25 || q < sin {
		reflected *= complex(math.Sqrt(sin/q), 0)
	}
	lag := 2 * g.wavenumber * a * b / distanceM
	if lag > math.Pi/2 {
		lag = math.Pi - (math.Pi/2)*(math.Pi/2)/lag
	}
	both := cmplx.Exp(complex(0, -lag)) + reflected
	optical := -20 * math.Log10(cmplx.Abs(both))
	w := 1 / (1 + g.megahertz()*g.uneven/max(10e3, g.smoothReach()))
	return w*optical + (1-w)*bent
}

// curve is a loss over distance in sight: a + b·d + c·ln d.
type curve struct{ a, b, c float64 }

func (c curve) at(d float64) float64 { return c.a + c.b*d + c.c*math.Log(d) }

// sight returns the loss over distance within the horizons, made to run through the
// two rays' at two distances and into diffraction's: Hufford, 4.3. bent is
// diffraction's loss, a straight line.
func (g *ground) sight(bent curve) curve {
	d2 := g.smoothReach()
	a2 := bent.at(d2)
	rays := func(d float64) float64 { return g.twoRays(d, bent.at(d)) }
	horizons := g.ends[0].horizon + g.ends[1].horizon
	d0 := 0.04 * g.megahertz() * g.ends[0].effective * g.ends[1].effective
	var d1 float64
	if bent.a >= 0 {
		d0 = min(d0, 0.5*horizons)
		d1 = d0 + 0.25*(horizons-d0)
	} else {
		d1 = max(-bent.a/bent.b, 0.25*horizons)
	}
	a1 := rays(d1)
	var k curve
	fitted := false
	if d0 < d1 {
		a0 := rays(d0)
		q := math.Log(d2 / d0)
		k.c = max(0, ((d2-d0)*(a1-a0)-(d1-d0)*(a2-a0))/((d2-d0)*math.Log(d1/d0)-(d1-d0)*q))
		if fitted = bent.a > 0 || k.c > 0; fitted {
			if k.b = (a2 - a0 - k.c*q) / (d2 - d0); k.b < 0 {
				k.b, k.c = 0, max(a2-a0, 0)/q
				if k.c == 0 {
					k.b = bent.b
				}
			}
		}
	}
	if !fitted {
		k.b, k.c = max(a2-a1, 0)/(d2-d1), 0
		if k.b == 0 {
			k.b = bent.b
		}
	}
	k.a = a2 - k.b*d2 - k.c*math.Log(d2)
	return k
}
