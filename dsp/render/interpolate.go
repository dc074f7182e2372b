package render

import "math"

// The measures of an Interpolator.
const (
	Taps       = 14
	Phases     = 128
	TapsBefore = Taps/2 - 1 // before the position's integer part

	// WidestContent is the two-sided bandwidth, in cycles a sample, up to
	// which an Interpolator serves.
	WidestContent = 0.5577

	kaiserBeta = 10.0
)

// An Interpolator reads a band-limited sequence at any position with a
// Kaiser-windowed sinc of Taps taps, tabulated at Phases positions from one
// sample to the next and taken as straight between those. It is never off by
// more than −94 dB for content up to 0.1 cycles a sample, −90 dB up to 0.25 and
// −76 dB up to WidestContent/2: that is a whole channel at the symbol rate,
// whose skirts have little there, so that its own error is below −90 dB.
//
// It holds, for each phase, the taps and their step to the next.
type Interpolator [Phases]Row

// Row is the taps at one phase, and what each gains up to the next phase.
type Row struct{ Tap, Step [Taps]float32 }

// NewInterpolator makes the table.
func NewInterpolator() *Interpolator {
	const reach = Taps / 2 * Phases
	pulse := Pulse(Taps, Phases, kaiserBeta)
	var p Interpolator
	for i := range p {
		for j := range Taps {
			at := reach + (j-TapsBefore)*Phases - i
			p[i].Tap[j] = float32(pulse[at])
			p[i].Step[j] = float32(pulse[at-1] - pulse[at])
		}
	}
	return &p
}

// Pulse is a sinc of the given number of taps under a Kaiser window, at so many
// phases a tap: the taps of any phase are its values phases apart, and its
// middle is the value of index taps/2·phases. taps must be even.
func Pulse(taps, phases int, beta float64) []float64 {
	reach := taps / 2 * phases
	pulse := make([]float64, 2*reach+1)
	for i := range reach + 1 {
		d := float64(i) / float64(phases)
		v := 1.0
		if i > 0 {
			v = math.Sin(math.Pi*d) / (math.Pi * d)
		}
		x := float64(i) / float64(reach)
		v *= besselI0(beta*math.Sqrt(1-x*x)) / besselI0(beta)
		pulse[reach-i], pulse[reach+i] = v, v
	}
	return pulse
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

// Row returns the taps around a position that is not negative, how far beyond
// them it lies in steps, and the place of the first sample that they weigh.
func (p *Interpolator) Row(position float64) (row *Row, rest float32, first int) {
	whole := int(position)
	phase := (position - float64(whole)) * Phases
	return &p[int(phase)&(Phases-1)], float32(phase - float64(int(phase))), whole - TapsBefore
}

// At returns x at a position, of which TapsBefore samples must lie before and
// as many and two behind.
func (p *Interpolator) At(x []complex64, position float64) complex64 {
	row, rest, first := p.Row(position)
	s := (*[Taps]complex64)(x[first:])
	// Two sums each, so that one addition need not wait for the last.
	var re0, im0, re1, im1 float32
	for j := 0; j < Taps; j += 2 {
		a := row.Tap[j] + rest*row.Step[j]
		b := row.Tap[j+1] + rest*row.Step[j+1]
		re0 += a * real(s[j])
		im0 += a * imag(s[j])
		re1 += b * real(s[j+1])
		im1 += b * imag(s[j+1])
	}
	return complex(re0+re1, im0+im1)
}
