package receiver

import "golang.org/x/sys/cpu"

// haveKernels says whether this processor can run the kernels.
func haveKernels() bool { return cpu.X86.HasAVX2 && cpu.X86.HasFMA }

//go:noescape
func readLanes(dst, x *complex64, table *interpolator, position, advance int64, count int)

func (p *interpolator) readAt(dst, x []complex64, position, advance int64) {
	if !haveKernels() {
		p.readPlain(dst, x, position, advance)
		return
	}
	readLanes(&dst[0], &x[0], p, position-tapsBefore<<32, advance, len(dst))
}

//go:noescape
func aheadLanes(states, forward *[4]float32, entries *uint16, table *belief, soft *float32)

//go:noescape
func behindLanes(back, forward *[4]float32, entries *uint16, table *belief, levels *float32, spread *[16]float32)

func aheadSegment(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, soft []float32) {
	if !haveKernels() {
		aheadPlain(states, forward, entries, table, soft)
		return
	}
	aheadLanes(&states[0], &forward[0], &entries[0], &table[0], &soft[0])
}

func behindSegment(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, levels []float32) (spread [coders]float32) {
	if !haveKernels() {
		return behindPlain(states, forward, entries, table, levels)
	}
	var sums [16]float32
	behindLanes(&states[0], &forward[0], &entries[0], &table[0], &levels[0], &sums)
	for k := range spread {
		spread[k] = sums[k&^7+k&7/2+k&1*4]
	}
	return spread
}
