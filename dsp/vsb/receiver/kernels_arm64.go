package receiver

import "rooftone/dsp/vsb"

// Every arm64 has NEON. The kernels do what those for amd64 do, four values at a time.

//go:noescape
func readLanes(dst, x *complex64, table *interpolator, position, advance int64, count int)

func (p *interpolator) readAt(dst, x []complex64, position, advance int64) {
	readLanes(&dst[0], &x[0], p, position-tapsBefore<<32, advance, len(dst))
}

//go:noescape
func aheadLanes(states, forward *[4]float32, entries *uint16, table *belief, soft *float32, groups int)

//go:noescape
func behindLanes(back, forward *[4]float32, entries *uint16, table *belief, levels *float32, spread *[coders]float32, groups int)

// aheadGroups does what aheadPlain does.
func aheadGroups(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, soft []float32) {
	n := len(soft)
	_, _ = forward[n-1], entries[n-1]
	aheadLanes(&states[0], &forward[0], &entries[0], &table[0], &soft[0], n/coders)
}

// behindGroups does what behindPlain does.
func behindGroups(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, levels []float32) (spread [coders]float32) {
	n := len(levels)
	_, _ = forward[n-1], entries[n-1]
	behindLanes(&states[0], &forward[0], &entries[0], &table[0], &levels[0], &spread, n/coders)
	return spread
}

//go:noescape
func multiplyLanes(dst, x, y *complex64, fours int)

//go:noescape
func widenLanes(dst *complex64, x *float32, fours int)

//go:noescape
func subtractLanes(errors, received, made, turns *complex64, lean, strength *float32, runs int)

// multiplyFours multiplies as many as the kernel can and returns how many that are.
func multiplyFours(dst, x, y []complex64) int {
	fours := len(x) / 4
	if fours == 0 {
		return 0
	}
	multiplyLanes(&dst[0], &x[0], &y[0], fours)
	return 4 * fours
}

// widenFours widens as many as the kernel can and returns how many that are.
func widenFours(dst []complex64, x []float32) int {
	fours := len(x) / 4
	if fours == 0 {
		return 0
	}
	widenLanes(&dst[0], &x[0], fours)
	return 4 * fours
}

// subtractRuns does what subtractPlain does.
func subtractRuns(errors, received, made, turns []complex64, lean, strength []float32) {
	n := len(lean) * runSymbols
	if n == 0 {
		return
	}
	_, _, _, _, _ = errors[n-1], received[n-1], made[n-1], turns[len(lean)-1], strength[len(lean)-1]
	subtractLanes(&errors[0], &received[0], &made[0], &turns[0], &lean[0], &strength[0], len(lean))
}

//go:noescape
func glanceLanes(states, forward *[4]float32, entries *uint16, table *belief, out *complex64, soft, quadrature *float32, cos, sin, pilot float32) (lean float32)

// glanceGroup does what glancePlain does.
func glanceGroup(states, forward *[coders][4]float32, entries *[coders]uint16, table *[beliefCount]belief, out *[coders]complex64, soft, quadrature *[coders]float32, p turning) float32 {
	return glanceLanes(&states[0], &forward[0], &entries[0], &table[0], &out[0], &soft[0], &quadrature[0], p.cos, p.sin, p.pilot)
}

//go:noescape
func foldLanes(dst, x, there, back *complex64, fours int)

// foldFours folds what the kernel can: all but the first four bins. It returns
// whether it did.
func foldFours(dst, x, there, back []complex64) bool {
	n := len(x)
	if n < 8 || n%4 != 0 {
		return false
	}
	_, _, _ = dst[n-1], there[n-1], back[n-1]
	foldLanes(&dst[0], &x[0], &there[0], &back[0], n/4-1)
	return true
}

//go:noescape
func blendLanes(dst, x, y *float32, a, b, c, low, high float32, fours int)

// blendFours blends as many as the kernel can and returns how many that are.
func blendFours(dst, x, y []float32, by blending) int {
	fours := len(dst) / 4
	if fours == 0 {
		return 0
	}
	_, _ = x[len(dst)-1], y[len(dst)-1]
	blendLanes(&dst[0], &x[0], &y[0], by.x, by.y, by.more, by.low, by.high, fours)
	return 4 * fours
}

//go:noescape
func mixLanes(dst, levels *float32, made *complex64, first, second, pilot float32, fours int)

// mixFours mixes as many as the kernel can and returns how many that are.
func mixFours(dst, levels []float32, made []complex64, first, second float32) int {
	fours := len(dst) / 4
	if fours == 0 {
		return 0
	}
	_, _ = levels[len(dst)-1], made[len(dst)-1]
	mixLanes(&dst[0], &levels[0], &made[0], first, second, vsb.PilotLevel, fours)
	return 4 * fours
}
