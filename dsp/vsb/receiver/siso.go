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

// ahead goes forward through a segment.
func (b *believer) ahead(place int, soft []float32, first int) {
	for g := range groups {
		for k := range coders {
			e := entry(soft[g*coders+k])
			p := place + g*coders + k
			b.entries[p] = e
			c := first + k
			if c >= coders {
				c -= coders
			}
			a := &b.states[c]
			b.forward[p] = *a
			q := &b.table[e].likely
			a0, a1, a2, a3 := a[0], a[1], a[2], a[3]
			n0 := a0*q[0] + a2*q[2]
			n1 := a0*q[2] + a2*q[0]
			n2 := a1*q[1] + a3*q[3]
			n3 := a1*q[3] + a3*q[1]
			if g&3 == 3 {
				scale := 1 / (n0 + n1 + n2 + n3)
				n0, n1, n2, n3 = n0*scale, n1*scale, n2*scale, n3*scale
			}
			a[0], a[1], a[2], a[3] = n0, n1, n2, n3
		}
	}
}

// behind goes backward through a segment and writes the levels' means. It returns the
// sum of their variances.
func (b *believer) behind(levels []float32, place, first int, back *[coders][4]float32) (spread float32) {
	for g := groups - 1; g >= 0; g-- {
		for k := range coders {
			p := place + g*coders + k
			t := &b.table[b.entries[p]]
			f := &b.forward[p]
			c := first + k
			if c >= coders {
				c -= coders
			}
			z := &back[c]
			z0, z1, z2, z3 := z[0], z[1], z[2], z[3]
			c0 := f[0]*z0 + f[2]*z1
			c2 := f[2]*z0 + f[0]*z1
			c1 := f[1]*z2 + f[3]*z3
			c3 := f[3]*z2 + f[1]*z3
			x0, x1, x2, x3 := c0*t.weak[0], c1*t.weak[1], c2*t.weak[2], c3*t.weak[3]
			scale := 1 / (x0*t.likely[0] + x1*t.likely[1] + x2*t.likely[2] + x3*t.likely[3])
			mean := (x0*t.level[0] + x1*t.level[1] + x2*t.level[2] + x3*t.level[3]) * scale
			square := (x0*t.square[0] + x1*t.square[1] + x2*t.square[2] + x3*t.square[3]) * scale
			levels[g*coders+k] = mean + vsb.PilotLevel
			spread += square - mean*mean
			q := &t.likely
			n0 := q[0]*z0 + q[2]*z1
			n2 := q[2]*z0 + q[0]*z1
			n1 := q[1]*z2 + q[3]*z3
			n3 := q[3]*z2 + q[1]*z3
			if g&3 == 3 {
				scale := 1 / (n0 + n1 + n2 + n3)
				n0, n1, n2, n3 = n0*scale, n1*scale, n2*scale, n3*scale
			}
			z[0], z[1], z[2], z[3] = n0, n1, n2, n3
		}
	}
	return spread
}

// glance goes one symbol of a data segment forward, as ahead does, and returns what it
// and those of its coder before say of its level. place is where it is kept; see block.
func (b *believer) glance(place, coder int, soft float32) float32 {
	e := entry(soft)
	b.entries[place] = e
	a := &b.states[coder]
	b.forward[place] = *a
	t := &b.table[e]
	q := &t.likely
	a0, a1, a2, a3 := a[0], a[1], a[2], a[3]
	even, odd := a0+a2, a1+a3
	sum := even*(q[0]+q[2]) + odd*(q[1]+q[3])
	scale := 1 / sum
	mean := (even*(t.level[0]+t.level[2]) + odd*(t.level[1]+t.level[3])) * scale
	a[0] = (a0*q[0] + a2*q[2]) * scale
	a[1] = (a0*q[2] + a2*q[0]) * scale
	a[2] = (a1*q[1] + a3*q[3]) * scale
	a[3] = (a1*q[3] + a3*q[1]) * scale
	return mean
}
