package vsb

import (
	"math"
	"math/cmplx"
)

const (
	// falseTap is the chance, for each look, that noise alone is taken for a
	// path.
	falseTap = 0.005

	// falseNear is the same for each delay close to one that was taken: a path
	// between the delays takes more than one.
	falseNear = 0.03
	nearSteps = 2

	// leastNew is how much of an atom's power must lie outside the atoms
	// taken before, for it to be taken too.
	leastNew = 1e-3

	mostRefused = 3 // delays that explain too little, before it ends
	normEvery   = 4 // atoms between those whose power is found exactly
	mostTaps    = 64
)

// pursuit fits a training to whitened fields by taking one delay after the
// other: at each turn the one that explains the most of what is left, as long
// as that is more than noise explains. The columns of the delays taken are
// made orthonormal as they come: q_j = Σ A_i·(R⁻¹)_ij.
//
// A column stands for the fields of both kinds: its first half is the odd
// atom times the root of the number of odd fields, its second half likewise.
type pursuit struct {
	layout *layout
	factor triangle // of the points' covariance
	count  [2]int   // of odd and even fields

	data  []complex128 // the fields' mean, as a column
	taps  []int        // delays
	q     [][]complex128
	back  [][]complex128 // L⁻ᴴ·q
	gain  []complex128   // qᴴ·data
	r     [][]complex128 // r[j][i], i ≤ j: the upper triangle by columns
	power float64        // of data and of the fields' differences, left after the fit
	dof   float64

	rest   []complex128 // L⁻ᴴ·(data − fit)
	norms  []float64    // of what atoms have outside the columns taken, by delay
	whole  []float64    // of whole atoms
	barred []bool
	work   []complex128
}

// begin starts over with the given fields, whitened and turned to a common
// phase.
func (p *pursuit) begin(fields []fieldSync) {
	n := p.layout.points
	p.data = grow(p.data, 2*n)
	p.rest = grow(p.rest, 2*n)
	p.work = grow(p.work, n)
	p.count = [2]int{}
	for _, f := range fields {
		p.count[f.parity]++
	}
	p.taps, p.gain = p.taps[:0], p.gain[:0]
	p.mean(fields)
	p.power = 0
	for _, f := range fields {
		p.power += norm2(f.white)
	}
	p.dof = float64(n * len(fields))
	copy(p.rest, p.data)
	for k := range 2 {
		p.factor.solveAdjoint(p.rest[k*n : (k+1)*n])
	}
	p.findNorms()
}

// share is 1/√F for the number F of fields of a kind; 0 when there is none.
func (p *pursuit) share(parity int) complex128 {
	if p.count[parity] == 0 {
		return 0
	}
	return complex(1/math.Sqrt(float64(p.count[parity])), 0)
}

// mean fills data.
func (p *pursuit) mean(fields []fieldSync) {
	n := p.layout.points
	clear(p.data)
	for _, f := range fields {
		k := f.parity
		addScaled(p.data[k*n:(k+1)*n], p.share(k)*cmplx.Rect(1, -f.phase), f.white)
	}
}

func (p *pursuit) index(delay int) int { return delay - p.layout.firstDelay }

// findNorms finds the power of every whitened atom: exactly for some, and
// between these in proportion to a guess that leaves out the covariance's
// off-diagonal part.
func (p *pursuit) findNorms() {
	g := p.layout
	n := g.points
	count := g.lastDelay - g.firstDelay + 1
	p.norms, p.whole, p.barred = grow(p.norms, count), grow(p.whole, count), grow(p.barred, count)
	clear(p.barred)
	weight := make([]float64, n)
	for i := range weight {
		weight[i] = 1 / norm2(p.factor.row(i))
	}
	for l := range p.norms {
		p.norms[l] = 0
		for k := range 2 {
			at := g.atomAt(l + g.firstDelay)
			known := g.known[k][at:]
			var sum float64
			for i, w := range weight {
				v := known[2*i]
				sum += w * (real(v)*real(v) + imag(v)*imag(v))
			}
			p.norms[l] += sum * float64(p.count[k])
		}
	}
	column := make([]complex128, 2*n)
	last, lastRatio := 0, 0.
	for l := 0; l < count; l += normEvery {
		if l+normEvery >= count {
			l = count - 1
		}
		p.column(column, l+g.firstDelay)
		ratio := norm2(column) / p.norms[l]
		if l == 0 {
			lastRatio = ratio
		}
		for i := last; i < l; i++ {
			x := float64(i-last) / float64(l-last)
			p.whole[i] = p.norms[i] * (lastRatio + x*(ratio-lastRatio))
		}
		p.whole[l] = p.norms[l] * ratio
		last, lastRatio = l, ratio
	}
	copy(p.norms, p.whole)
}

// column writes the whitened column of a delay.
func (p *pursuit) column(dst []complex128, delay int) {
	n := p.layout.points
	for k := range 2 {
		half := dst[k*n : (k+1)*n]
		if p.count[k] == 0 {
			clear(half)
			continue
		}
		p.layout.atom(half, p.layout.known[k], delay)
		p.factor.solve(half)
		root := complex(math.Sqrt(float64(p.count[k])), 0)
		for i := range half {
			half[i] *= root
		}
	}
}

// project returns the inner product of an atom, not whitened, and a column
// that went through L⁻ᴴ.
func (p *pursuit) project(back []complex128, delay int) complex128 {
	g := p.layout
	n := g.points
	at := g.atomAt(delay)
	var sum complex128
	for k := range 2 {
		if p.count[k] == 0 {
			continue
		}
		known := g.known[k][at:]
		half := back[k*n : (k+1)*n]
		var re, im float64
		for i, b := range half {
			a := known[2*i]
			re += real(a)*real(b) + imag(a)*imag(b)
			im += real(a)*imag(b) - imag(a)*real(b)
		}
		sum += complex(re, im) * complex(math.Sqrt(float64(p.count[k])), 0)
	}
	return sum
}

// take adds a delay's column. It returns false when the column has nothing
// new.
func (p *pursuit) take(delay int) bool {
	n := p.layout.points
	j := len(p.taps)
	if j == len(p.q) {
		p.q = append(p.q, make([]complex128, 2*n))
		p.back = append(p.back, make([]complex128, 2*n))
		p.r = append(p.r, make([]complex128, mostTaps))
	}
	q, r := p.q[j], p.r[j]
	clear(r)
	p.column(q, delay)
	whole := norm2(q)
	for range 2 { // once more for what rounding leaves
		for i := range j {
			c := inner(p.q[i], q)
			r[i] += c
			addScaled(q, -c, p.q[i])
		}
	}
	left := norm2(q)
	if !(left > leastNew*whole) {
		return false
	}
	r[j] = complex(math.Sqrt(left), 0)
	for i := range q {
		q[i] *= complex(1/math.Sqrt(left), 0)
	}
	copy(p.back[j], q)
	for k := range 2 {
		p.factor.solveAdjoint(p.back[j][k*n : (k+1)*n])
	}
	p.taps = append(p.taps, delay)
	p.gain = append(p.gain, inner(q, p.data))
	return true
}

// keep lets the last column taken count.
func (p *pursuit) keep() {
	j := len(p.taps) - 1
	g := p.gain[j]
	p.power -= real(g)*real(g) + imag(g)*imag(g)
	p.dof--
	addScaled(p.rest, -g, p.back[j])
	for l := range p.norms {
		c := p.project(p.back[j], l+p.layout.firstDelay)
		p.norms[l] -= real(c)*real(c) + imag(c)*imag(c)
	}
}

// drop forgets the last column taken.
func (p *pursuit) drop() {
	j := len(p.taps) - 1
	p.taps, p.gain = p.taps[:j], p.gain[:j]
}

// least is what a delay must explain to be taken, in units of the noise.
func (p *pursuit) least(delay int) float64 {
	for _, d := range p.taps {
		if d != delay && max(d-delay, delay-d) <= nearSteps {
			return -math.Log(falseNear)
		}
	}
	return math.Log(float64(len(p.norms)) / 2 / falseTap)
}

// next returns the delay that promises the most, measured by what it must
// explain, or false when there is none.
func (p *pursuit) next() (int, bool) {
	best, bestScore := 0, 0.
	for l, norm := range p.norms {
		if p.barred[l] || norm < 2*leastNew*p.whole[l] {
			continue
		}
		delay := l + p.layout.firstDelay
		c := p.project(p.rest, delay)
		// What is near the taps taken is known less well than norm says.
		score := (real(c)*real(c) + imag(c)*imag(c)) / (norm + 0.02*p.whole[l]) / p.least(delay)
		if score > bestScore {
			best, bestScore = delay, score
		}
	}
	return best, bestScore > 0
}

// run takes delays, limit at most, until none explains more than noise would.
func (p *pursuit) run(limit int) {
	for refused := 0; refused < mostRefused && len(p.taps) < limit; {
		delay, any := p.next()
		if !any {
			return
		}
		p.barred[p.index(delay)] = true
		if !p.take(delay) {
			continue
		}
		g := p.gain[len(p.gain)-1]
		won := real(g)*real(g) + imag(g)*imag(g)
		noise := (p.power - won) / math.Max(1, p.dof-1)
		if len(p.taps) > 1 && won < p.least(delay)*noise {
			// Its score promised too much; the next may keep its promise.
			p.drop()
			refused++
			continue
		}
		p.keep()
	}
}

// again recomputes the gains for other phases of the fields.
func (p *pursuit) again(fields []fieldSync) {
	p.mean(fields)
	p.power = 0
	for _, f := range fields {
		p.power += norm2(f.white)
	}
	for j := range p.gain {
		p.gain[j] = inner(p.q[j], p.data)
		p.power -= real(p.gain[j])*real(p.gain[j]) + imag(p.gain[j])*imag(p.gain[j])
	}
}

// solve returns the taps' complex gains.
func (p *pursuit) solve() []tap {
	out := make([]tap, len(p.taps))
	x := append([]complex128(nil), p.gain...)
	for j := len(x) - 1; j >= 0; j-- {
		x[j] /= p.r[j][j]
		for i := range j {
			x[i] -= p.r[j][i] * x[j]
		}
		out[j] = tap{p.taps[j], x[j]}
	}
	return out
}

// fit writes the whitened fit of a field of the given kind.
func (p *pursuit) fit(dst []complex128, parity int) {
	n := p.layout.points
	clear(dst)
	for j, g := range p.gain {
		addScaled(dst, g*p.share(parity), p.q[j][parity*n:(parity+1)*n])
	}
}

// sum writes taps of a table of the layout.
func (p *pursuit) sum(dst []complex128, taps []tap, from []complex128) {
	clear(dst)
	for _, t := range taps {
		at := p.layout.atomAt(t.delay)
		for i := range dst {
			dst[i] += t.gain * from[at+2*i]
		}
	}
}
