package receiver

import "math"

// A band-limited sequence is read at any position with a Kaiser-windowed sinc
// of tapCount taps, tabulated at phaseCount positions from one sample to the
// next and taken as straight between those. For content up to 0.2788 cycles a
// sample, which is the whole channel at the symbol rate, the taps' error and
// the table's are each below −95 dB.
const (
	tapCount   = 14
	phaseCount = 128
	tapsBefore = tapCount/2 - 1 // before the position's integer part
	kaiserBeta = 10.0

	// widestContent is the two-sided bandwidth, in cycles a sample, up to
	// which the interpolator keeps to its error.
	widestContent = 0.5577
)

// interpolator holds, for each phase, the taps and their step to the next.
type interpolator [phaseCount]struct{ tap, step [tapCount]float32 }

func newInterpolator() *interpolator {
	// The taps for all phases are one symmetric pulse, read phaseCount apart.
	const reach = tapCount / 2 * phaseCount
	var pulse [2*reach + 1]float64
	for i := range reach + 1 {
		d := float64(i) / phaseCount
		v := 1.0
		if i > 0 {
			v = math.Sin(math.Pi*d) / (math.Pi * d)
		}
		x := float64(i) / reach
		v *= besselI0(kaiserBeta*math.Sqrt(1-x*x)) / besselI0(kaiserBeta)
		pulse[reach-i], pulse[reach+i] = v, v
	}
	var p interpolator
	for i := range p {
		for j := range tapCount {
			at := reach + (j-tapsBefore)*phaseCount - i
			p[i].tap[j] = float32(pulse[at])
			p[i].step[j] = float32(pulse[at-1] - pulse[at])
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

// at returns x at a position, of which tapsBefore samples must lie before and
// as many and two behind.
func (p *interpolator) at(x []complex64, position float64) complex64 {
	whole := int(position)
	phase := (position - float64(whole)) * phaseCount
	row := &p[int(phase)&(phaseCount-1)]
	rest := float32(phase - float64(int(phase)))
	s := (*[tapCount]complex64)(x[whole-tapsBefore:])
	// Two sums each, so that one addition need not wait for the last.
	var re0, im0, re1, im1 float32
	for j := 0; j < tapCount; j += 2 {
		a := row.tap[j] + rest*row.step[j]
		b := row.tap[j+1] + rest*row.step[j+1]
		re0 += a * real(s[j])
		im0 += a * imag(s[j])
		re1 += b * real(s[j+1])
		im1 += b * imag(s[j+1])
	}
	return complex(re0+re1, im0+im1)
}
