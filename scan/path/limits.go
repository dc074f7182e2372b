package path

import "math"

// FreeSpaceDB is the loss between isotropic antennas with nothing between them or
// near: ITU-R P.525, equation 4, with its constant to two places.
func FreeSpaceDB(frequencyHz, distanceM float64) float64 {
	return 32.45 + 20*math.Log10(frequencyHz/1e6) + 20*math.Log10(distanceM/1e3)
}

// FieldDBuVm is the field strength in dBµV/m where an effective radiated power
// over a half-wave dipole, in kW, arrives through a loss between isotropic
// antennas: ITU-R P.525, 4. An isotropic antenna's area is λ²/4π, and E²/120π the
// power density of a field.
func FieldDBuVm(erpKW, frequencyHz, lossDB float64) float64 {
	const dipole = 1.64 // over an isotropic antenna
	lambda := lightSpeed / frequencyHz
	watts := erpKW * 1e3 * dipole * math.Pow(10, -lossDB/10)
	density := watts * 4 * math.Pi / (lambda * lambda)
	return 10*math.Log10(density*120*math.Pi) + 120
}

const lightSpeed = 299792458 // m/s

// FresnelV is how far an edge stands into the way, in the measure of Fresnel's
// integrals: ITU-R P.526, equation 26. The edge is heightM above the straight line
// between the antennas (negative: below it), before and beyond of it away.
func FresnelV(frequencyHz, heightM, beforeM, beyondM float64) float64 {
	lambda := lightSpeed / frequencyHz
	return heightM * math.Sqrt(2/lambda*(1/beforeM+1/beyondM))
}

// KnifeEdgeDB is the loss over one edge beyond that of free space. From Fresnel's
// integrals: ITU-R P.526, equation 30.
func KnifeEdgeDB(v float64) float64 {
	c, s := fresnel(v)
	return -20 * math.Log10(math.Hypot(1-c-s, c-s)/2)
}

// fresnel returns Fresnel's integrals C and S: their series near zero, and beyond it
// the auxiliary functions' asymptotic ones. Abramowitz and Stegun 7.3.11, 7.3.13,
// 7.3.9, 7.3.10, 7.3.27, 7.3.28.
func fresnel(v float64) (c, s float64) {
	x := math.Abs(v)
	t := math.Pi / 2 * x * x
	if x < 4 {
		term := x // x·tⁿ/n!, with the signs of e^(jt)
		for n := 0; n < 200; n++ {
			part := term / float64(2*n+1)
			switch n % 4 {
			case 0:
				c += part
			case 1:
				s += part
			case 2:
				c -= part
			case 3:
				s -= part
			}
			if term *= t / float64(n+1); term < 1e-17 {
				break
			}
		}
	} else {
		z := math.Pi * x * x
		f := (1 - 3/(z*z) + 105/(z*z*z*z)) / (math.Pi * x)
		g := (1 - 15/(z*z) + 945/(z*z*z*z)) / (math.Pi * x * z)
		sin, cos := math.Sincos(t)
		c, s = 0.5+f*sin-g*cos, 0.5-f*cos-g*sin
	}
	return math.Copysign(c, v), math.Copysign(s, v)
}
