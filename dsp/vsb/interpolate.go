package vsb

import "math"

// Interpolation of a band-limited sequence at any position: a Kaiser-windowed
// sinc of interpolateTaps taps, tabulated at interpolatePhases positions
// between two samples, with a straight line between those. For sequences that
// are oversampled by 1.79 or more its error is some −80 dB.
const (
	interpolateTaps   = 12
	interpolatePhases = 256
	interpolateBefore = interpolateTaps/2 - 1 // taps before the position's integer part
)

// interpolator holds, for each phase, the taps and their step to the next one.
type interpolator [interpolatePhases][2][interpolateTaps]float32

func newInterpolator() *interpolator {
	const beta = 8.0
	tap := func(d float64) float64 { // d in samples from the position
		x := d / (interpolateTaps / 2)
		if math.Abs(x) >= 1 {
			return 0
		}
		s := 1.0
		if d != 0 {
			s = math.Sin(math.Pi*d) / (math.Pi * d)
		}
		return s * besselI0(beta*math.Sqrt(1-x*x)) / besselI0(beta)
	}
	var p interpolator
	for i := range p {
		for j := range interpolateTaps {
			d := float64(j - interpolateBefore)
			a := tap(d - float64(i)/interpolatePhases)
			b := tap(d - float64(i+1)/interpolatePhases)
			p[i][0][j], p[i][1][j] = float32(a), float32(b-a)
		}
	}
	return &p
}

// besselI0 is the modified Bessel function of the first kind and order 0.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x / 2 / k * (x / 2 / k)
		sum += term
	}
	return sum
}

// at returns the value of x at an index and a fraction from 0 to below 1. x
// must reach from index−interpolateBefore over interpolateTaps samples.
func (p *interpolator) at(x []complex64, index int, fraction float64) complex64 {
	position := fraction * interpolatePhases
	phase := int(position)
	rest := float32(position - float64(phase))
	taps, steps := &p[phase][0], &p[phase][1]
	s := (*[interpolateTaps]complex64)(x[index-interpolateBefore:])
	var re, im float32
	for j := range s {
		c := taps[j] + rest*steps[j]
		re += c * real(s[j])
		im += c * imag(s[j])
	}
	return complex(re, im)
}
