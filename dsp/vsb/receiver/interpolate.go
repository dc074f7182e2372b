package receiver

import "rooftone/dsp/render"

// A band-limited sequence is read at any position with a Kaiser-windowed sinc of
// tapCount taps, tabulated at phaseCount positions from one sample to the next and
// taken as straight between those. For content up to 0.28 cycles a sample, which is
// the whole channel at the symbol rate, the error is below −95 dB.
const (
	tapCount   = 16
	phaseCount = 128
	tapsBefore = tapCount/2 - 1 // before the position's integer part
	kaiserBeta = 11
)

// interpolator holds, for each phase, the taps and their step to the next. Each eight
// taps stand in the order 0 1 4 5 2 3 6 7, from which the kernel makes pairs of equal
// ones in their order.
type interpolator [phaseCount]struct{ tap, step [tapCount]float32 }

// tapPlace is where a tap stands.
var tapPlace = [tapCount]int{0, 1, 4, 5, 2, 3, 6, 7, 8, 9, 12, 13, 10, 11, 14, 15}

func newInterpolator() *interpolator {
	const reach = tapCount / 2 * phaseCount
	pulse := render.Pulse(tapCount, phaseCount, kaiserBeta)
	p := new(interpolator)
	for i := range p {
		for j := range tapCount {
			at := reach + (j-tapsBefore)*phaseCount - i
			p[i].tap[tapPlace[j]] = float32(pulse[at])
			p[i].step[tapPlace[j]] = float32(pulse[at-1] - pulse[at])
		}
	}
	return p
}

// read fills dst with x at the positions at, at+step and so on, of which tapsBefore
// samples must lie before and one more behind.
func (p *interpolator) read(dst, x []complex64, at, step float64) {
	if len(dst) == 0 {
		return
	}
	// Positions in units of 2⁻³² of a sample.
	const unit = 1 << 32
	position, advance := int64(at*unit), int64(step*unit)
	last := position + int64(len(dst)-1)*advance
	_ = x[position>>32-tapsBefore]
	_ = x[last>>32+tapCount-1-tapsBefore]
	p.readAt(dst, x, position, advance)
}

func (p *interpolator) readPlain(dst, x []complex64, position, advance int64) {
	for n := range dst {
		whole := int(position >> 32)
		part := uint32(position)
		row := &p[part>>25]
		rest := float32(part&(1<<25-1)) * (1. / (1 << 25))
		s := (*[tapCount]complex64)(x[whole-tapsBefore:])
		var re, im float32
		for j, place := range tapPlace {
			a := row.tap[place] + rest*row.step[place]
			re += a * real(s[j])
			im += a * imag(s[j])
		}
		dst[n] = complex(re, im)
		position += advance
	}
}
