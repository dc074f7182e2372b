package path

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
)

// Climate is one of the radio climates of the model, which differ in how levels
// vary with time: Hufford, 5.
type Climate int

// The climates, in the model's order.
const (
	Equatorial Climate = iota
	ContinentalSubtropical
	MaritimeSubtropical
	Desert
	ContinentalTemperate
	MaritimeTemperateOverLand
	MaritimeTemperateOverSea
	climates
)

// Surroundings are what the model wants to know of air and ground.
type Surroundings struct {
	Climate      Climate
	Refractivity float64 // of the surface, reduced to sea level, N-units
	Permittivity float64 // of the ground, relative
	Conductivity float64 // of the ground, S/m
	Vertical     bool    // polarisation; horizontal otherwise
}

// Television is what the regulator of the United States has for television: FCC OET
// Bulletin 69, Table 4.
func Television() Surroundings {
	return Surroundings{Climate: ContinentalTemperate, Refractivity: 301, Permittivity: 15, Conductivity: 0.005}
}

// Link is a pair of antennas, each at a height above the ground below it.
type Link struct {
	Surroundings
	FrequencyHz float64
	HeightsM    [2]float64 // at the profile's beginning and end
}

// Profile is the ground between two antennas, from one to the other, at equal steps.
type Profile struct {
	StepM float64
	M     []float64 // above sea level
}

// DistanceM is the length of a profile.
func (p Profile) DistanceM() float64 { return p.StepM * float64(len(p.M)-1) }

// Limits within which the model says something: NTIA Report 82-100, Table 1, as far
// as its authors' program still answers.
const (
	MinHeightM, MaxHeightM = 0.5, 3000
	minFrequencyHz         = 20e6
	maxFrequencyHz         = 20e9
	minRefractivity        = 250
	maxRefractivity        = 400
	minPoints              = 3
)

// ErrTooShort is returned for a profile of fewer than three points.
var ErrTooShort = errors.New("the profile has fewer than three points")

func (l Link) check() error {
	for _, h := range l.HeightsM {
		if !(h >= MinHeightM && h <= MaxHeightM) {
			return fmt.Errorf("an antenna %g m above the ground: the terrain model holds from %g to %g m", h, MinHeightM, float64(MaxHeightM))
		}
	}
	switch {
	case !(l.FrequencyHz >= minFrequencyHz && l.FrequencyHz <= maxFrequencyHz):
		return fmt.Errorf("a frequency of %g MHz: the terrain model holds from %g to %g MHz", l.FrequencyHz/1e6, minFrequencyHz/1e6, maxFrequencyHz/1e6)
	case !(l.Refractivity >= minRefractivity && l.Refractivity <= maxRefractivity):
		return fmt.Errorf("a refractivity of %g: the terrain model holds from %d to %d", l.Refractivity, minRefractivity, maxRefractivity)
	case l.Climate < 0 || l.Climate >= climates:
		return fmt.Errorf("no radio climate %d", l.Climate)
	case !(l.Permittivity >= 1) || !(l.Conductivity > 0) || math.IsInf(l.Permittivity+l.Conductivity, 1):
		return fmt.Errorf("a ground of permittivity %g and conductivity %g", l.Permittivity, l.Conductivity)
	}
	return nil
}

func (p Profile) check() error {
	if len(p.M) < minPoints {
		return ErrTooShort
	}
	if !(p.StepM > 0) || math.IsInf(p.DistanceM(), 1) {
		return fmt.Errorf("a profile with steps of %g m", p.StepM)
	}
	for i, h := range p.M {
		if !(math.Abs(h) < 1e5) {
			return fmt.Errorf("a height of %g m, %g m along the profile", h, float64(i)*p.StepM)
		}
	}
	return nil
}

// wavenumber is 2π over the wavelength, 1/m, with the model's own constant:
// Hufford, equation 1.1.
func (l Link) wavenumber() float64 { return l.FrequencyHz / 1e6 / perWavenumber }

// perWavenumber is the frequency in MHz of a wavenumber of 1/m.
const perWavenumber = 47.7

// impedance is the ground's surface transfer impedance: Hufford, equations 1.5 to
// 1.6.
func (l Link) impedance() complex128 {
	e := complex(l.Permittivity, 18000*l.Conductivity/(l.FrequencyHz/1e6))
	z := cmplx.Sqrt(e - 1)
	if l.Vertical {
		z /= e
	}
	return z
}

// curvature returns the surface refractivity at a height above sea level and the
// curvature of an earth on which rays are straight, 1/m: Hufford, equations 1.2 to
// 1.4.
func (l Link) curvature(heightM float64) (refractivity, perM float64) {
	n := l.Refractivity
	if heightM != 0 {
		n *= math.Exp(-heightM / 9460)
	}
	return n, 157e-9 * (1 - 0.04665*math.Exp(n/179.3))
}
