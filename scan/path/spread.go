package path

import (
	"fmt"
	"math"
)

// Use says what is taken together when levels vary: Hufford, 5.
type Use int

// The uses, in the model's order.
const (
	SingleMessage Use = iota // time, places and situations in one
	Individual               // time by itself; one place
	Mobile                   // time and places in one
	Broadcast                // each by itself
	uses
)

// Share says of which share of the time, the places and the situations (0 to 1,
// neither included) a loss is not exceeded.
type Share struct {
	Use                    Use
	Time, Place, Situation float64
	OnePlace, OneSituation bool // these do not vary
}

// Median is the middle of everything, for broadcasting.
func Median() Share { return Share{Use: Broadcast, Time: 0.5, Place: 0.5, Situation: 0.5} }

// LossDB is the loss between isotropic antennas that is not exceeded in a share.
func (p *Prediction) LossDB(s Share) (float64, error) {
	for _, q := range []float64{s.Time, s.Place, s.Situation} {
		if !(q > 0 && q < 1) {
			return 0, fmt.Errorf("a share of %g: it lies between 0 and 1", q)
		}
	}
	if s.Use < 0 || s.Use >= uses {
		return 0, fmt.Errorf("no use %d", s.Use)
	}
	return p.FreeSpaceDB + p.quantile(s), nil
}

// SituationDB is the model's own standard deviation of the median between paths that
// it cannot tell apart: Hufford, equation 5.13.
func (p *Prediction) SituationDB() float64 {
	return 5 + 3*math.Exp(-p.effectiveDistance()/100e3)
}

// PlacesDB is the model's own standard deviation between the places that ground of its
// unevenness has: Hufford, equation 5.9.
func (p *Prediction) PlacesDB() float64 {
	q := p.ground.unevenAt(p.ground.distance) * p.ground.wavenumber
	return 10 * q / (q + 13)
}

// effectiveDistance is the distance that counts for how levels vary: beyond the
// horizons, and without regard to the antennas' heights: Hufford, equation 5.3.
func (p *Prediction) effectiveDistance() float64 {
	g := p.ground
	x := math.Sqrt(18e6*g.ends[0].effective) + math.Sqrt(18e6*g.ends[1].effective) + math.Cbrt(575.7e12/g.wavenumber)
	if g.distance < x {
		return 130e3 * g.distance / x
	}
	return 130e3 + g.distance - x
}

// bump is the shape that all curves over the effective distance have: Hufford,
// equation 5.4.
type bump struct{ height, extra, grow, centre, width float64 }

func (b bump) at(d float64) float64 {
	r := d / b.grow
	off := (d - b.centre) / b.width
	return (b.height + b.extra/(1+off*off)) * r * r / (1 + r*r)
}

// over is how one side's spread depends on the frequency.
type over struct{ base, extra, at float64 }

func (o over) gain(wavenumber float64) float64 {
	x := o.at * math.Log(0.133*wavenumber)
	return o.base + o.extra/(x*x+1)
}

// climateCurves are one climate's: Hufford, tables 5.1 and 5.2.
type climateCurves struct {
	median       bump
	under, above bump // standard deviations of the level below and above its median
	underF       over
	aboveF       over
	tail, bend   float64 // C_D and z_D: how far the spread goes on, and from where
}

func (c Climate) curves() climateCurves {
	even := over{base: 1}
	switch c {
	case Equatorial:
		return climateCurves{bump{-9.67, 12.7, 144.9e3, 190.3e3, 133.8e3}, bump{2.13, 159.5, 762.2e3, 123.6e3, 94.5e3}, bump{2.11, 102.3, 636.9e3, 134.8e3, 95.6e3}, even, even, 1.224, 1.282}
	case ContinentalSubtropical:
		return climateCurves{bump{-0.62, 9.19, 228.9e3, 205.2e3, 143.6e3}, bump{2.66, 7.67, 100.4e3, 172.5e3, 136.4e3}, bump{6.87, 15.53, 138.7e3, 143.7e3, 98.6e3}, even, over{0.93, 0.31, 2.00}, 0.801, 2.161}
	case MaritimeSubtropical:
		return climateCurves{bump{1.26, 15.5, 262.6e3, 185.2e3, 99.8e3}, bump{6.11, 6.65, 138.2e3, 242.2e3, 178.6e3}, bump{10.08, 9.60, 165.3e3, 225.7e3, 129.7e3}, even, even, 1.380, 1.282}
	case Desert:
		return climateCurves{bump{-9.21, 9.05, 84.1e3, 101.1e3, 98.6e3}, bump{1.98, 13.11, 139.1e3, 132.7e3, 193.5e3}, bump{3.68, 159.3, 464.4e3, 93.1e3, 94.2e3}, even, over{0.93, 0.19, 1.79}, 1.000, 20}
	case MaritimeTemperateOverLand:
		return climateCurves{bump{-0.39, 2.86, 141.7e3, 315.9e3, 167.4e3}, bump{6.86, 10.38, 187.8e3, 169.6e3, 108.9e3}, bump{8.58, 13.97, 216.0e3, 152.0e3, 122.7e3}, even, even, 1.518, 1.282}
	case MaritimeTemperateOverSea:
		return climateCurves{bump{3.15, 857.9, 2222e3, 164.8e3, 116.3e3}, bump{8.51, 169.8, 609.8e3, 119.9e3, 106.6e3}, bump{8.43, 8.19, 136.2e3, 188.5e3, 122.9e3}, even, even, 1.518, 1.282}
	}
	return climateCurves{bump{-0.62, 9.19, 228.9e3, 205.2e3, 143.6e3}, bump{2.68, 7.16, 93.7e3, 186.8e3, 133.5e3}, bump{4.75, 8.12, 93.2e3, 135.9e3, 113.4e3}, over{0.92, 0.25, 1.77}, over{0.93, 0.31, 2.00}, 1.224, 1.282}
}

// inTime is the standard deviation over time that belongs to a deviate z.
func (c climateCurves) inTime(d, wavenumber, z float64) float64 {
	more := c.above.at(d) * c.aboveF.gain(wavenumber)
	switch {
	case z < 0:
		return c.under.at(d) * c.underF.gain(wavenumber)
	case z <= c.bend:
		return more
	}
	beyond := more * c.tail
	return beyond + (more-beyond)*c.bend/z
}

// quantile is the loss beyond free space in a share: Hufford, 5.
func (p *Prediction) quantile(s Share) float64 {
	g := p.ground
	zt, zl, zs := deviate(s.Time), deviate(s.Place), deviate(s.Situation)
	switch s.Use {
	case SingleMessage:
		zt, zl = zs, zs
	case Individual:
		zl = zs
	case Mobile:
		zl = zt
	}
	d := p.effectiveDistance()
	c := p.climate.curves()
	inTime := c.inTime(d, g.wavenumber, zt)
	places, situations := 0.0, 0.0
	if !s.OnePlace {
		places = p.PlacesDB()
	}
	if !s.OneSituation {
		situations = p.SituationDB()
	}
	square := func(x float64) float64 { return x * x }
	const timeWeight, placeWeight = 7.8, 24
	rest := square(situations) + square(inTime*zt)/(timeWeight+zs*zs) + square(places*zl)/(placeWeight+zs*zs)
	shift, spread := 0.0, 0.0
	switch s.Use {
	case SingleMessage:
		spread = math.Sqrt(square(inTime) + square(places) + rest)
	case Individual:
		shift, spread = inTime*zt, math.Sqrt(square(places)+rest)
	case Mobile:
		shift, spread = math.Hypot(inTime, places)*zt, math.Sqrt(rest)
	case Broadcast:
		shift, spread = inTime*zt+places*zl, math.Sqrt(rest)
	}
	a := p.ReferenceDB - c.median.at(d) - shift - spread*zs
	if a < 0 {
		// Hardly ever better than free space: Hufford, equation 5.2.
		a *= (29 - a) / (29 - 10*a)
	}
	return a
}

// deviate is the standard normal deviate that is exceeded with a probability, by the
// approximation that the model has: Abramowitz and Stegun, 26.2.23, within 4.5e-4.
// The exact deviate would change losses by 0.01 dB.
func deviate(share float64) float64 {
	t := math.Sqrt(-2 * math.Log(min(share, 1-share)))
	z := t - (2.515517+t*(0.802853+t*0.010328))/(1+t*(1.432788+t*(0.189269+t*0.001308)))
	if share > 0.5 {
		return -z
	}
	return z
}
