package receiver

import (
	"math"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

const (
	coders     = 12
	groups     = (vsb.SegmentSymbols - vsb.SegmentSyncSymbols) / coders // symbols of a coder in a segment
	groupsKept = (blockSegments + 1) * groups

	beliefSteps = 32 // entries per unit of level
	beliefLimit = 10
	beliefCount = 2*beliefLimit*beliefSteps + 1

	// clearest is the least noise that soft symbols are believed to have, and
	// leastBelief what remains of the least likely.
	clearest    = 0.15
	leastBelief = 1e-7

	// ownShare is the power to which a soft symbol's own word on its coset is
	// taken, beside that of the others of its coder. Errors of a symbol and of
	// its echoes' neighbours have noise in common: what each says of itself would
	// come back to it as if others had said it.
	ownShare = 0.6

	// learning is the weight of a block in what is known of its noise.
	learning = 0.3
)

// belief is what a soft symbol says of each of the four cosets of levels, which are
// named by the lower two bits: how likely it is, and the sums of its two levels and
// of their squares, weighted by how likely they are.
type belief struct {
	likely, level, square, weak [4]float32
}

// believer says of soft symbols how likely each level is, considering all symbols of
// its coder around it: the forward-backward algorithm of Bahl, Cocke, Jelinek and
// Raviv (1974) on the twelve trellises.
type believer struct {
	tables  *beliefs
	table   *[beliefCount]belief // for the soft symbols' noise
	entries [groupsKept * coders]uint16
	forward [groupsKept * coders][4]float32 // likelihoods of the states before each symbol, by place
	states  [coders][4]float32              // after the last one, by coder
	codes   [blockSegments + 1]int          // each segment's first coder, or −1 for a field sync

	doubt float64 // mean square error that the levels say they have
}

func newBeliever(tables *beliefs) *believer {
	b := &believer{tables: tables}
	b.setNoise(1)
	b.reset()
	return b
}

// beliefs are the tables for all sorts of noise, beliefsPerDB decibels apart from
// clearest on. Each is made when it is asked for first.
type beliefs struct {
	made   [beliefTables]bool
	tables [beliefTables][beliefCount]belief
}

const (
	beliefTables = 48
	beliefsPerDB = 2
)

// at returns the table for noise of the given variance.
func (t *beliefs) at(variance float64) *[beliefCount]belief {
	n := int(math.Round(beliefsPerDB * 10 * math.Log10(variance/clearest)))
	n = max(0, min(n, beliefTables-1))
	if !t.made[n] {
		t.made[n] = true
		fillBeliefs(&t.tables[n], clearest*math.Pow(10, float64(n)/beliefsPerDB/10))
	}
	return &t.tables[n]
}

// reset forgets all symbols.
func (b *believer) reset() {
	for i := range b.states {
		b.states[i] = [4]float32{1, 1, 1, 1}
	}
	for i := range b.codes {
		b.codes[i] = -1
	}
}

// setNoise tells the variance of the noise in the soft symbols.
func (b *believer) setNoise(variance float64) {
	b.table = b.tables.at(max(variance, clearest)) // also where it is not a number
}

// fillBeliefs makes the table for noise of the given variance.
func fillBeliefs(table *[beliefCount]belief, variance float64) {
	for i := range table {
		x := float64(i)/beliefSteps - beliefLimit
		t := &table[i]
		near := math.Inf(1)
		for s := range uint8(8) {
			d := x - float64(coding.Level(s))
			near = min(near, d*d)
		}
		for s := range uint8(8) {
			l := float64(coding.Level(s))
			d := x - l
			p := math.Exp((near-d*d)/2/variance) + leastBelief
			t.likely[s&3] += float32(p)
			t.level[s&3] += float32(p * l)
			t.square[s&3] += float32(p * l * l)
		}
		for c := range t.weak {
			t.weak[c] = float32(math.Pow(float64(t.likely[c]), ownShare-1))
		}
	}
}

// entry returns a soft symbol's place in the table.
func entry(v float32) uint16 {
	x := v*beliefSteps + beliefLimit*beliefSteps + 0.5
	if x >= 0 && x < beliefCount {
		return uint16(int32(x))
	}
	if x >= beliefCount {
		return beliefCount - 1
	}
	return 0
}

// block takes a block's soft symbols. The first of its segments has the given index
// in its field. It writes what is now believed of the block's levels and of those of
// the segment before, with the pilot's DC, to levels, which begins with that segment.
// Syncs are left alone.
func (b *believer) block(levels, soft []float32, index int) {
	b.next(index)
	for s := range blockSegments {
		if first := b.codes[s+1]; first >= 0 {
			b.ahead((s+1)*kept, soft[s*vsb.SegmentSymbols+vsb.SegmentSyncSymbols:][:kept], first)
		}
	}
	b.back(levels)
}

// kept is how many symbols are kept of a segment.
const kept = groups * coders

// next begins a block, the first of whose segments has the given index in its field.
// The last segment of the block before becomes the first that is kept.
func (b *believer) next(index int) {
	copy(b.entries[:kept], b.entries[blockSegments*kept:])
	copy(b.forward[:kept], b.forward[blockSegments*kept:])
	b.codes[0] = b.codes[blockSegments]
	for s := range blockSegments {
		b.codes[s+1] = -1
		if i := (index + s) % vsb.FieldSegments; i != 0 {
			b.codes[s+1] = coding.Coder(i, vsb.SegmentSyncSymbols)
		}
	}
}

// back goes backward through all that is kept and writes the levels.
func (b *believer) back(levels []float32) {
	var back [coders][4]float32
	for i := range back {
		back[i] = [4]float32{1, 1, 1, 1}
	}
	var spread float32
	count := 0
	for s := blockSegments; s >= 0; s-- {
		if b.codes[s] < 0 {
			continue
		}
		v := b.behind(levels[s*vsb.SegmentSymbols+vsb.SegmentSyncSymbols:][:kept], s*kept, b.codes[s], &back)
		if s < blockSegments {
			spread += v
			count += kept
		}
	}
	if count > 0 {
		b.doubt += (float64(spread)/float64(count) - b.doubt) * learning
	}
}

// turned puts the states of coders in the order of a segment whose first symbol is of
// the given coder.
func turned(states *[coders][4]float32, first int) (inOrder [coders][4]float32) {
	n := copy(inOrder[:], states[first:])
	copy(inOrder[n:], states[:first])
	return inOrder
}

// ahead goes forward through a segment.
func (b *believer) ahead(place int, soft []float32, first int) {
	states := turned(&b.states, first)
	aheadSegment(&states, b.forward[place:][:kept], b.entries[place:][:kept], b.table, soft[:kept])
	b.states = turned(&states, (coders-first)%coders)
}

// behind goes backward through a segment and writes the levels' means. It returns the
// sum of their variances.
func (b *believer) behind(levels []float32, place, first int, back *[coders][4]float32) (spread float32) {
	states := turned(back, first)
	spreads := behindSegment(&states, b.forward[place:][:kept], b.entries[place:][:kept], b.table, levels[:kept])
	*back = turned(&states, (coders-first)%coders)
	for _, v := range spreads {
		spread += v
	}
	return spread
}

// levelled is how many groups pass before the likelihoods are divided by their sum.
const levelled = 4

// aheadPlain goes forward through a segment with the states in its coders' order.
// Products are rounded before they are added, so that this gives the same on all
// processors as the kernels do.
func aheadPlain(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, soft []float32) {
	for g := range groups {
		for k := range coders {
			p := g*coders + k
			e := entry(soft[p])
			entries[p] = e
			a := &states[k]
			forward[p] = *a
			after(a, a, &table[e].likely)
			if g%levelled == levelled-1 {
				level(a)
			}
		}
	}
}

// behindPlain goes backward, likewise, and writes the levels' means. It returns the
// sum of their variances for each coder.
func behindPlain(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, levels []float32) (spread [coders]float32) {
	for g := groups - 1; g >= 0; g-- {
		for k := range coders {
			p := g*coders + k
			t := &table[entries[p]]
			z := &states[k]
			var x [4]float32
			before(&x, &forward[p], z)
			w := &t.weak
			x[0], x[1], x[2], x[3] = x[0]*w[0], x[1]*w[1], x[2]*w[2], x[3]*w[3]
			scale := 1 / dot(&x, &t.likely)
			mean := float32(dot(&x, &t.level) * scale)
			square := float32(dot(&x, &t.square) * scale)
			levels[p] = mean + vsb.PilotLevel
			spread[k] += float32(square - float32(mean*mean))
			before(z, &t.likely, z)
			if g%levelled == levelled-1 {
				level(z)
			}
		}
	}
	return spread
}

// after goes one symbol ahead: of what is said of the states before it and of its
// cosets it makes what is said of the states after it. n may be a.
func after(n, a, q *[4]float32) {
	a0, a1, a2, a3 := a[0], a[1], a[2], a[3]
	q0, q1, q2, q3 := q[0], q[1], q[2], q[3]
	n[0] = float32(a0*q0) + float32(a2*q2)
	n[1] = float32(a0*q2) + float32(a2*q0)
	n[2] = float32(a1*q1) + float32(a3*q3)
	n[3] = float32(a1*q3) + float32(a3*q1)
}

// before goes one symbol back: of what is said of the states before it, or of its
// cosets, and of the states after it, it makes what is said of the other. n may be z.
func before(n, f, z *[4]float32) {
	f0, f1, f2, f3 := f[0], f[1], f[2], f[3]
	z0, z1, z2, z3 := z[0], z[1], z[2], z[3]
	n[0] = float32(f0*z0) + float32(f2*z1)
	n[1] = float32(f1*z2) + float32(f3*z3)
	n[2] = float32(f2*z0) + float32(f0*z1)
	n[3] = float32(f3*z2) + float32(f1*z3)
}

// level divides likelihoods by their sum.
func level(n *[4]float32) {
	n0, n1, n2, n3 := n[0], n[1], n[2], n[3]
	scale := 1 / ((n0 + n1) + (n2 + n3))
	n[0], n[1], n[2], n[3] = n0*scale, n1*scale, n2*scale, n3*scale
}

func dot(x, y *[4]float32) float32 {
	return (float32(x[0]*y[0]) + float32(x[1]*y[1])) + (float32(x[2]*y[2]) + float32(x[3]*y[3]))
}

// atOnce is how many symbols glance takes; a segment's first coder is a multiple of it.
const atOnce = 4

// glance turns equalised symbols by a phase and takes the pilot out, which gives their
// soft symbols and imaginary parts. It goes forward over them, as ahead does, and
// returns the errors from what they and those of their coders before say of their
// levels, times the imaginary parts. place is where the first is kept; see block.
func (b *believer) glance(place, coder int, out []complex64, soft, quadrature []float32, p turning) (lean float32) {
	return glanceFour((*[atOnce][4]float32)(b.states[coder:]), b.forward[place:][:atOnce], b.entries[place:][:atOnce], b.table,
		out[:atOnce], soft[:atOnce], quadrature[:atOnce], p)
}

// turning is by which phase symbols are turned, and what is then taken off them.
type turning struct{ cos, sin, pilot float32 }

func glancePlain(states *[atOnce][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, out []complex64, soft, quadrature []float32, p turning) float32 {
	var leans [atOnce]float32
	for k, v := range out {
		v = turnedBy(v, complex(p.cos, p.sin))
		soft[k], quadrature[k] = real(v)-p.pilot, imag(v)
		e := entry(soft[k])
		entries[k] = e
		a := &states[k]
		forward[k] = *a
		t := &table[e]
		even, odd := a[0]+a[2], a[1]+a[3]
		var n [4]float32
		after(&n, a, &t.likely)
		scale := 1 / ((n[0] + n[1]) + (n[2] + n[3]))
		mean := float32(dot(&[4]float32{even, odd, even, odd}, &t.level) * scale)
		for i := range a {
			a[i] = n[i] * scale
		}
		leans[k] = float32((soft[k] - mean) * quadrature[k])
	}
	return (leans[0] + leans[1]) + (leans[2] + leans[3])
}
