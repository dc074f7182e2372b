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

	// What is said of noise and of errors is said of pieces of a segment, all but
	// the last of which are of pieceGroups. Shorter ones have too few symbols for a
	// mean, longer ones hide where the errors are.
	pieceGroups  = 8
	pieceSymbols = pieceGroups * coders
	pieces       = (groups + pieceGroups - 1) / pieceGroups

	beliefSteps = 32 // entries per unit of level
	beliefLimit = 10
	beliefCount = 2*beliefLimit*beliefSteps + 1

	// clearest is the least noise that soft symbols are believed to have, and
	// leastBelief what remains of the least likely.
	clearest    = 0.15
	leastBelief = 1e-7

	// farthest is how far a level that the others tell may be from 0: one more than
	// there are.
	farthest = 9

	// learning is the weight of a block in what is known of its noise.
	learning = 0.3
)

// belief is what a soft symbol says of each of the four cosets of levels, which are
// named by the lower two bits: how likely it is, and the sum of its two levels,
// weighted by how likely they are.
type belief struct{ likely, level [4]float32 }

// levelSums and levelProducts are those of the two levels of each coset: with them a
// level's square is levelSums times it less levelProducts.
var (
	levelSums     = [4]float32{-6, -2, 2, 6}
	levelProducts = [4]float32{-7, -15, -15, -7}
)

// believer says of soft symbols how likely each level is, considering all symbols of
// its coder around it: the forward-backward algorithm of Bahl, Cocke, Jelinek and
// Raviv (1974) on the twelve trellises.
//
// What it says of a level has the symbol's own word in it. Who makes a new soft symbol
// of that and of what was received hears that word twice. So from what is known of a
// piece's levels, with errors of variance v on average, what its soft symbols
// themselves said, with noise of σ², is taken out again, as among Gaussians: what the
// others tell of the levels has the variance 1/(1/v − 1/σ²). Minka, "Expectation
// Propagation for Approximate Bayesian Inference" (2001).
type believer struct {
	tables  *beliefs
	entries [groupsKept * coders]uint16
	forward [groupsKept * coders][4]float32 // likelihoods of the states before each symbol, by place
	soft    [groupsKept * coders]float32
	noise   [(blockSegments + 1) * pieces]float32              // of each piece: variance of what stands in soft beside the levels
	table   [(blockSegments + 1) * pieces]*[beliefCount]belief // for that
	states  [coders][4]float32                                 // after the last one, by coder
	codes   [blockSegments + 1]int                             // each segment's first coder, or −1 for a field sync

	doubt float64 // mean square error that the levels say they have
	open  float64 // the same of what the others tell of them
}

func newBeliever(tables *beliefs) *believer {
	b := &believer{tables: tables}
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
func (t *beliefs) at(variance float32) *[beliefCount]belief {
	n := int(math.Round(beliefsPerDB * 10 * math.Log10(math.Max(float64(variance), clearest)/clearest)))
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

// told is where a believer writes what it says of levels, beginning with the segment
// before the block's. All but variances are a window, of which syncs are left alone,
// and have the pilot's DC.
type told struct {
	levels    []float32 // what each symbol's others tell of its level
	settled   []float32 // with its own word
	variances []float32 // of each piece, of the errors of levels
}

// block takes a block's soft symbols, whose noise has the variances given. The first
// of its segments has the given index in its field. It says what is now believed of
// the block's levels and of those of the segment before.
func (b *believer) block(say told, soft, noise []float32, index int) {
	b.next(index)
	b.hear(noise)
	for s := range blockSegments {
		if first := b.codes[s+1]; first >= 0 {
			b.ahead(s+1, soft[s*vsb.SegmentSymbols+vsb.SegmentSyncSymbols:][:kept], first)
		}
	}
	b.back(say)
}

// kept is how many symbols are kept of a segment.
const kept = groups * coders

// next begins a block, the first of whose segments has the given index in its field.
// The last segment of the block before becomes the first that is kept.
func (b *believer) next(index int) {
	copy(b.entries[:kept], b.entries[blockSegments*kept:])
	copy(b.forward[:kept], b.forward[blockSegments*kept:])
	copy(b.soft[:kept], b.soft[blockSegments*kept:])
	copy(b.noise[:pieces], b.noise[blockPieces:])
	copy(b.table[:pieces], b.table[blockPieces:])
	b.codes[0] = b.codes[blockSegments]
	for s := range blockSegments {
		b.codes[s+1] = -1
		if i := (index + s) % vsb.FieldSegments; i != 0 {
			b.codes[s+1] = coding.Coder(i, vsb.SegmentSyncSymbols)
		}
	}
}

// hear takes the variances of the noise in a block's soft symbols.
func (b *believer) hear(noise []float32) {
	copy(b.noise[pieces:], noise)
	for i, v := range noise {
		b.table[pieces+i] = b.tables.at(v)
	}
}

// back goes backward through all that is kept and says what is believed.
func (b *believer) back(say told) {
	var back [coders][4]float32
	for i := range back {
		back[i] = [4]float32{1, 1, 1, 1}
	}
	var doubt, open float64
	count := 0
	for s := blockSegments; s >= 0; s-- {
		if b.codes[s] < 0 {
			clear(say.variances[s*pieces:][:pieces])
			continue
		}
		d, o := b.behind(say, s, &back)
		if s < blockSegments {
			doubt += d
			open += o
			count += kept
		}
	}
	if count > 0 {
		b.doubt += (doubt/float64(count) - b.doubt) * learning
		b.open += (open/float64(count) - b.open) * learning
	}
}

// turned puts the states of coders in the order of a segment whose first symbol is of
// the given coder.
func turned(states *[coders][4]float32, first int) (inOrder [coders][4]float32) {
	n := copy(inOrder[:], states[first:])
	copy(inOrder[n:], states[:first])
	return inOrder
}

// piece returns where a segment's piece begins and ends.
func piece(n int) (from, to int) { return n * pieceSymbols, min((n+1)*pieceSymbols, kept) }

// ahead goes forward through a segment, that of number s among those kept.
func (b *believer) ahead(s int, soft []float32, first int) {
	states := turned(&b.states, first)
	at := s * kept
	copy(b.soft[at:], soft[:kept])
	for n := range pieces {
		from, to := piece(n)
		aheadGroups(&states, b.forward[at+from:at+to], b.entries[at+from:at+to], b.table[s*pieces+n], soft[from:to])
	}
	b.states = turned(&states, (coders-first)%coders)
}

// behind goes backward through a segment and says what is believed of it. It returns
// the sums of the variances with and without the symbols' own words.
func (b *believer) behind(say told, s int, back *[coders][4]float32) (doubt, open float64) {
	first, at := b.codes[s], s*kept
	settled := say.settled[s*vsb.SegmentSymbols+vsb.SegmentSyncSymbols:][:kept]
	levels := say.levels[s*vsb.SegmentSymbols+vsb.SegmentSyncSymbols:][:kept]
	states := turned(back, first)
	for n := pieces - 1; n >= 0; n-- {
		from, to := piece(n)
		noise := b.noise[s*pieces+n]
		spreads := behindGroups(&states, b.forward[at+from:at+to], b.entries[at+from:at+to], b.table[s*pieces+n], settled[from:to])
		var spread float32
		for _, v := range spreads {
			spread += v
		}
		by, v := cavity(spread/float32(to-from), noise)
		blend(levels[from:to], settled[from:to], b.soft[at+from:at+to], by)
		say.variances[s*pieces+n] = v
		doubt += float64(spread)
		open += float64(v) * float64(to-from)
	}
	*back = turned(&states, (coders-first)%coders)
	return doubt, open
}

// cavity tells how levels settled with errors of the given variance, and soft symbols
// with the given noise, make what the others say of these levels, and the variance of
// that.
func cavity(variance, noise float32) (by blending, open float32) {
	const surest = 1e-4
	precision := max(1/max(variance, surest)-1/noise, 1./vsb.LevelMeanSquare)
	open = 1 / precision
	by = blending{
		x: (precision + 1/noise) * open, y: -open / noise,
		low: vsb.PilotLevel - farthest, high: vsb.PilotLevel + farthest,
	}
	by.more = vsb.PilotLevel - by.x*vsb.PilotLevel
	return by, open
}

// levelled is how many groups pass before the likelihoods are divided by their sum.
const levelled = 4

// aheadPlain goes forward through groups with the states in their coders' order.
// Products are rounded before they are added, so that this gives the same on all
// processors as the kernels do.
func aheadPlain(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, soft []float32) {
	for g := range len(soft) / coders {
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
	for g := len(levels)/coders - 1; g >= 0; g-- {
		for k := range coders {
			p := g*coders + k
			t := &table[entries[p]]
			z := &states[k]
			var x [4]float32
			before(&x, &forward[p], z)
			var likely, means, squares [4]float32
			for i, v := range x {
				likely[i], means[i] = float32(v*t.likely[i]), float32(v*t.level[i])
				squares[i] = float32(means[i]*levelSums[i]) - float32(likely[i]*levelProducts[i])
			}
			scale := 1 / total(&likely)
			mean := float32(total(&means) * scale)
			square := float32(total(&squares) * scale)
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

func total(x *[4]float32) float32 { return (x[0] + x[1]) + (x[2] + x[3]) }

// glance turns a group of equalised symbols by a phase and takes the pilot out, which
// gives their soft symbols and imaginary parts. It goes forward over them, as ahead
// does, and returns the errors from what they and those of their coders before say of
// their levels, times the imaginary parts. place is where the first is kept, and
// states are in the group's order.
func (b *believer) glance(states *[coders][4]float32, place int, table *[beliefCount]belief, out []complex64, soft, quadrature []float32, p turning) (lean float32) {
	return glanceGroup(states, (*[coders][4]float32)(b.forward[place:]), (*[coders]uint16)(b.entries[place:]), table,
		(*[coders]complex64)(out), (*[coders]float32)(soft), (*[coders]float32)(quadrature), p)
}

// turning is by which phase symbols are turned, and what is then taken off them.
type turning struct{ cos, sin, pilot float32 }

func glancePlain(states, forward *[coders][4]float32, entries *[coders]uint16, table *[beliefCount]belief, out *[coders]complex64, soft, quadrature *[coders]float32, p turning) float32 {
	var leans [4]float32
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
		scale := 1 / total(&n)
		mean := float32(dot(&[4]float32{even, odd, even, odd}, &t.level) * scale)
		for i := range a {
			a[i] = n[i] * scale
		}
		leans[k%4] += float32((soft[k] - mean) * quadrature[k])
	}
	return (leans[0] + leans[1]) + (leans[2] + leans[3])
}
