package vsb

import "math"

// leak is the covariance that unknown symbols give the points of a grid.
//
// With p the channel's answer to one symbol, the symbols before the training
// and those behind it give
//
//	L(i,j) = 21·Σ p(u_i−kT)·conj(p(u_j−kT)), k < 0 and k ≥ KnownSymbols.
//
// Points and symbols have common ticks. So L(i,j) for the symbols before is
// L(i+b,j+b) and the share of the last a of them, when b steps are a symbols:
// begin at the end of the grid, where they hardly reach, and go backwards. For
// those behind begin at the start and go on. Where a is even, and other
// factors of it, some neighbouring symbols are taken as one of as much power
// in their middle: they are closer than the grid resolves.
type leak struct {
	layout *layout
	group  int // symbols taken as one
	answer []complex128
	stride int // ticks between the answer's entries
	base   int // the first entry's tick
	table  []complex128
}

// tap is a path in units of a layout: delay in half steps.
type tap struct {
	delay int
	gain  complex128
}

func newLeak(g *layout) *leak {
	l := &leak{layout: g, group: 1}
	for d := 2; d <= g.stepSymbols; d++ {
		if g.stepSymbols%d == 0 && float64(d)*groupsPerStep <= float64(g.stepSymbols)/float64(g.perStep) {
			l.group = d
		}
	}
	return l
}

// add adds the covariance for a channel of the given taps to the lower
// triangle c.
func (l *leak) add(c triangle, taps []tap) {
	l.convolve(taps)
	g := l.layout
	first, last := 0, 0
	for _, t := range taps {
		first, last = min(first, t.delay), max(last, t.delay)
	}
	perSymbol := float64(2*g.perStep) / float64(g.stepSymbols) // half steps a symbol
	before := tailSymbols + int(float64(last)/perSymbol)
	behind := tailSymbols + int(float64(-first)/perSymbol)
	l.side(c, -1, before)
	l.side(c, 1, behind)
}

// convolve finds the channel's answer to a symbol, or to a group of them, at
// the ticks where it is needed.
func (l *leak) convolve(taps []tap) {
	g := l.layout
	b := g.perStep
	l.stride = gcd(gcd(2*g.stepSymbols, 2*b*l.group), 2*b*KnownSymbols)
	l.base = g.stepSymbols*max(g.lastDelay, -g.firstDelay) + l.stride - g.pulseAt
	l.base += mod(b*(l.group+1)-l.base, l.stride)
	count := -2*l.base/l.stride - 1
	l.answer = grow(l.answer, count)
	clear(l.answer)
	for _, t := range taps {
		at := g.pulseAt + l.base - t.delay*g.stepSymbols
		for i := range l.answer {
			l.answer[i] += t.gain * g.pulse[at+i*l.stride]
		}
	}
}

// at is the answer some ticks after a group's middle; 0 beyond the table.
func (l *leak) at(tick int) complex128 {
	i := (tick - l.base) / l.stride
	if i < 0 || i >= len(l.answer) {
		return 0
	}
	return l.answer[i]
}

// side adds the covariance of the symbols before (direction −1) or behind the
// training (+1), of which count matter beyond their end of the grid.
func (l *leak) side(c triangle, direction, count int) {
	g := l.layout
	n, b := c.n, g.perStep
	groups := (count + l.group - 1) / l.group
	near := g.stepSymbols / l.group
	// The answers at every point to the groups outside the training, the
	// nearest first.
	first, step := -b*(l.group+1), -2*b*l.group
	if direction > 0 {
		first, step = 2*b*KnownSymbols+b*(l.group-1), -step
	}
	scale := complex(math.Sqrt(LevelMeanSquare*float64(l.group)), 0)
	l.table = grow(l.table, n*groups)
	for i := range n {
		for m := range groups {
			l.table[i*groups+m] = scale * l.at((i-leadSteps)*2*g.stepSymbols-first-m*step)
		}
	}
	// Each diagonal i = j+d in b chains.
	for d := range n {
		for start := range min(b, n-d) {
			var sum complex128
			for j := start; j < n-d; j += b {
				to := j
				if direction < 0 {
					to = n - 1 - d - j
				}
				x, y := l.table[(to+d)*groups:], l.table[to*groups:]
				if j == start {
					sum = product(x[:groups], y[:groups])
				} else {
					sum += product(x[:near], y[:near])
				}
				c.a[(to+d)*n+to] += sum
			}
		}
	}
}

// product returns Σ x·conj(y).
func product(x, y []complex128) complex128 {
	var re, im float64
	for i, a := range x {
		b := y[i]
		re += real(a)*real(b) + imag(a)*imag(b)
		im += imag(a)*real(b) - real(a)*imag(b)
	}
	return complex(re, im)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func mod(a, b int) int { return (a%b + b) % b }
