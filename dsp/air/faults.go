package air

import "math"

// Offset adds a constant to every sample: the direct current in the middle of
// a slice.
func Offset(x []complex64, dc complex64) {
	for k := range x {
		x[k] += dc
	}
}

// Imbalance is the small difference between a radio's I and Q branches: Q's
// gain over I's and how far the angle between them is from a right one. A
// signal on one side of the middle then has a faint image on the other.
type Imbalance struct {
	GainDB   float64
	PhaseDeg float64
}

// ImageDB returns the image's power relative to the signal.
func (b Imbalance) ImageDB() float64 {
	g, cos := Amplitude(b.GainDB), math.Cos(b.PhaseDeg*math.Pi/180)
	return DB((1 + g*g - 2*g*cos) / (1 + g*g + 2*g*cos))
}

// Apply brings the imbalance about: I stays, Q becomes
// g·(Q·cos φ + I·sin φ).
func (b Imbalance) Apply(x []complex64) {
	g := Amplitude(b.GainDB)
	sin, cos := math.Sincos(b.PhaseDeg * math.Pi / 180)
	fromQ, fromI := float32(g*cos), float32(g*sin)
	for k, z := range x {
		x[k] = complex(real(z), fromQ*imag(z)+fromI*real(z))
	}
}

// Compress is the third-order curve of an amplifier that nears its limit,
// y = x(1 − |x|²/intercept), up to where it stops rising, and level from there
// on. Two tones of power p each then make products at 2f₁−f₂ and 2f₂−f₁ of
// power p³/intercept²: intercept is the input power per tone at which, were
// the curve to go on, the products would be as strong as the tones.
func Compress(x []complex64, intercept float64) {
	a := float32(1 / intercept)
	top := 1 / (3 * a) // |x|² where the curve is level
	for k, z := range x {
		p := real(z)*real(z) + imag(z)*imag(z)
		g := 1 - a*p
		if !(p < top) {
			g = float32(2. / 3 * math.Sqrt(float64(top)/float64(p)))
		}
		x[k] = complex(g*real(z), g*imag(z))
	}
}
