package coding

// viterbi decodes the twelve trellis coders side by side, four of them in the
// four lanes of 16 bits of a word. The precoder of Z2 is left to the caller: as
// it only renames what is sent, the likeliest sequence of Z2 and Z1 is found with
// the four states of the convolutional coder.
type viterbi struct {
	branches *branchMetrics
	backward *[4 << 8]uint16
	quads    [coders / lanes]quad
	steps    int64 // done by each trellis, counted as in a field
}

// quad is four trellises, the lowest in the lowest lane.
type quad struct {
	// states has the metric of each state, the smaller the likelier: always
	// below 1<<15.
	states [4]uint64

	// past has the last steps' choices. The upper four bits of a lane tell for
	// each state, the lowest bit for state 0, which of its two predecessors
	// was chosen: the one with stateA or the one without. The next four bits
	// tell for each coset which Z2 is nearer.
	past [viterbiPast]uint64
}

const (
	lanes = 4

	// viterbiLag is how many steps of its trellis behind the newest symbol
	// a decision is, at least. The code has memory 2, so a lag beyond a
	// dozen steps costs nothing that could be measured; this is the longest
	// one with which a packet is complete when its last segment is.
	viterbiLag = 48

	// viterbiPast is a power of two that holds a segment and the lag.
	viterbiPast = 256

	laneTops = 0x8000_8000_8000_8000
)

func newViterbi() *viterbi {
	v := &viterbi{branches: newBranchMetrics(), backward: new([4 << 8]uint16)}
	for state := range 4 {
		for choices := range 1 << 8 {
			// State (a,b) comes from (p,a) with Y1 = p⊕b and Z0 = a.
			a, b := state>>1, state&1
			p := choices >> 4 >> state & 1
			y1 := p ^ b
			coset := y1<<1 | a
			z2 := choices >> coset & 1
			v.backward[state<<8|choices] = uint16((p<<1|a)<<8 | z2<<1 | y1)
		}
	}
	return v
}

// reset forgets the past. The next step has the given number.
func (v *viterbi) reset(step int64) {
	v.steps = step
	for i := range v.quads {
		v.quads[i].states = [4]uint64{}
	}
}

// segment takes the entries of a segment's data symbols. first is the coder of the
// first one, a multiple of four.
func (v *viterbi) segment(symbols *[dataSymbols]uint16, first int) {
	for i := range v.quads {
		at := (lanes*i - first + coders) % coders
		v.quads[i].advance(v.branches, symbols[at:], v.steps)
	}
	v.steps += coderSymbols
}

// advance takes a segment's steps. symbols begins with the first four of the
// quad's.
func (q *quad) advance(branches *branchMetrics, symbols []uint16, step int64) {
	const (
		even = 0x0000_ffff_0000_ffff
		low  = 0x0000_0000_ffff_ffff
	)
	s0, s1, s2, s3 := q.states[0], q.states[1], q.states[2], q.states[3]
	for i := range coderSymbols {
		if i%16 == 0 {
			// Nothing but the differences between the metrics counts.
			m := laneMin(laneMin(s0, s1), laneMin(s2, s3))
			s0, s1, s2, s3 = s0-m, s1-m, s2-m, s3-m
		}
		e0 := branches[symbols[0]]
		e1 := branches[symbols[1]]
		e2 := branches[symbols[2]]
		e3 := branches[symbols[3]]
		if i < coderSymbols-1 {
			symbols = symbols[coders:]
		}

		// From a word a trellis to a word a coset.
		t0 := e0&even | e1<<16&^even
		t1 := e0>>16&even | e1&^even
		t2 := e2&even | e3<<16&^even
		t3 := e2>>16&even | e3&^even
		b0 := t0&low | t2<<32
		b1 := t1&low | t3<<32
		b2 := t0>>32 | t2&^low
		b3 := t1>>32 | t3&^low
		upper := (b0&laneTops)>>7 | (b1&laneTops)>>6 | (b2&laneTops)>>5 | (b3&laneTops)>>4
		b0 &^= laneTops
		b1 &^= laneTops
		b2 &^= laneTops
		b3 &^= laneTops

		var c0, c1, c2, c3 uint64
		p0, p1, p2, p3 := s0, s1, s2, s3
		s0, c0 = laneChoose(p0+b0, p2+b2)
		s1, c1 = laneChoose(p0+b2, p2+b0)
		s2, c2 = laneChoose(p1+b1, p3+b3)
		s3, c3 = laneChoose(p1+b3, p3+b1)
		q.past[(step+int64(i))&(viterbiPast-1)] = upper | c0>>3 | c1>>2 | c2>>1 | c3
	}
	q.states = [4]uint64{s0, s1, s2, s3}
}

// laneChoose returns the smaller of x and y in each lane, and in the lane's top
// bit whether that is y. Both are below 1<<15.
func laneChoose(x, y uint64) (smaller, second uint64) {
	second = ((x | laneTops) - y) & laneTops
	smaller = x ^ (x^y)&(second-second>>15)
	return smaller, second
}

func laneMin(x, y uint64) uint64 {
	m, _ := laneChoose(x, y)
	return m
}

// decide writes the bytes whose first pairs of bits belong to the steps from,
// from+4 … below to, both multiples of four: twelve bytes a time, in the order of
// their coders. Their upper bits are still precoded.
func (v *viterbi) decide(dst []byte, from, to int64) {
	for i := range v.quads {
		v.quads[i].decide(dst[lanes*i:], v.backward, v.steps, from, to)
	}
}

func (q *quad) decide(dst []byte, backward *[4 << 8]uint16, newest, from, to int64) {
	w0, w1, w2, w3 := q.likeliest()
	for step := newest - 1; step >= to; step-- {
		choices := q.past[step&(viterbiPast-1)]
		w0 = backward[w0&0x300|uint16(uint8(choices>>8))]
		w1 = backward[w1&0x300|uint16(uint8(choices>>24))]
		w2 = backward[w2&0x300|uint16(uint8(choices>>40))]
		w3 = backward[w3&0x300|uint16(uint8(choices>>56))]
	}
	for step := to - byteSymbols; step >= from; step -= byteSymbols {
		var d0, d1, d2, d3 uint16
		for part := range int64(byteSymbols) {
			choices := q.past[(step+byteSymbols-1-part)&(viterbiPast-1)]
			w0 = backward[w0&0x300|uint16(uint8(choices>>8))]
			w1 = backward[w1&0x300|uint16(uint8(choices>>24))]
			w2 = backward[w2&0x300|uint16(uint8(choices>>40))]
			w3 = backward[w3&0x300|uint16(uint8(choices>>56))]
			// A word is shifted down by a pair for each step back, and
			// the new pair comes in on top.
			d0 = d0>>2 | w0<<6
			d1 = d1>>2 | w1<<6
			d2 = d2>>2 | w2<<6
			d3 = d3>>2 | w3<<6
		}
		b := dst[(step-from)/byteSymbols*coders:]
		b = b[:lanes]
		b[0], b[1], b[2], b[3] = byte(d0), byte(d1), byte(d2), byte(d3)
	}
}

// likeliest returns the four trellises' likeliest states, in bits 8 and 9.
func (q *quad) likeliest() (w0, w1, w2, w3 uint16) {
	var w [lanes]uint16
	for lane := range w {
		best := ^uint16(0)
		for state, metrics := range q.states {
			if m := uint16(metrics >> (16 * lane)); m < best {
				best = m
				w[lane] = uint16(state) << 8
			}
		}
	}
	return w[0], w[1], w[2], w[3]
}
