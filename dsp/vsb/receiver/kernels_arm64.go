package receiver

// Every arm64 has NEON. The kernels do what those for amd64 do, four values at a time.

//go:noescape
func readLanes(dst, x *complex64, table *interpolator, position, advance int64, count int)

func (p *interpolator) readAt(dst, x []complex64, position, advance int64) {
	readLanes(&dst[0], &x[0], p, position-tapsBefore<<32, advance, len(dst))
}

func aheadGroups(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, soft []float32) {
	aheadPlain(states, forward, entries, table, soft)
}

func behindGroups(states *[coders][4]float32, forward [][4]float32, entries []uint16, table *[beliefCount]belief, levels []float32) (spread [coders]float32) {
	return behindPlain(states, forward, entries, table, levels)
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

func glanceGroup(states, forward *[coders][4]float32, entries *[coders]uint16, table *[beliefCount]belief, out *[coders]complex64, soft, quadrature *[coders]float32, p turning) float32 {
	return glancePlain(states, forward, entries, table, out, soft, quadrature, p)
}

func foldFours(dst, x, there, back []complex64) bool { return false }

func blendFours(dst, x, y []float32, by blending) int { return 0 }

func mixFours(dst, levels []float32, made []complex64, first, second float32) int { return 0 }
