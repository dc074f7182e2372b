//go:build !amd64 && !arm64

package receiver

func (p *interpolator) readAt(dst, x []complex64, position, advance int64) {
	p.readPlain(dst, x, position, advance)
}

func aheadGroups(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, soft []float32) {
	aheadPlain(states, forward, entries, table, soft)
}

func behindGroups(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, levels []float32) (spread [coders]float32) {
	return behindPlain(states, forward, entries, table, levels)
}

func glanceGroup(states, forward *[coders][4]float32, entries *[coders]uint16, table *[beliefCount]belief, out *[coders]complex64, soft, quadrature *[coders]float32, p turning) float32 {
	return glancePlain(states, forward, entries, table, out, soft, quadrature, p)
}

func multiplyFours(dst, x, y []complex64) int { return 0 }

func widenFours(dst []complex64, x []float32) int { return 0 }

func foldFours(dst, x, there, back []complex64) bool { return false }

func blendFours(dst, x, y []float32, by blending) int { return 0 }

func mixFours(dst, levels []float32, made []complex64, first, second float32) int { return 0 }

func subtractRuns(errors, received, made, turns []complex64, lean, strength []float32) {
	subtractPlain(errors, received, made, turns, lean, strength)
}
