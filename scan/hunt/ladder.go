package hunt

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// ladder is one tuning heard at several gains: what the gain-step test climbs.
type ladder struct {
	centerHz float64 // by the radio's clock
	stays    []*stay // one a gain, the highest first
}

// ladders groups the stays that were heard at two gains or more.
func (s *scene) ladders() []ladder {
	var out []ladder
	at := map[float64]int{}
	for _, x := range s.stays {
		if x.off || !x.knownGain {
			continue
		}
		key := math.Round(x.centerHz / 1e3)
		i, seen := at[key]
		if !seen {
			i = len(out)
			at[key] = i
			out = append(out, ladder{centerHz: x.centerHz})
		}
		l := &out[i]
		same := slices.IndexFunc(l.stays, func(o *stay) bool { return o.gainDB == x.gainDB && o.rateHz == x.rateHz })
		switch {
		case same < 0:
			l.stays = append(l.stays, x)
		case x.averages > l.stays[same].averages:
			l.stays[same] = x
		}
	}
	out = slices.DeleteFunc(out, func(l ladder) bool { return len(l.stays) < 2 })
	for i := range out {
		slices.SortFunc(out[i].stays, func(a, b *stay) int { return cmp.Compare(b.gainDB, a.gainDB) })
	}
	return out
}

// rung is what one gain shows of something.
type rung struct {
	gain  float64 // linear, of power, relative to the radio's highest
	value float64 // at the radio's input
	sigma float64
}

// railShare is the share of samples on a rail from which a stay says nothing
// of what the front end does.
const railShare = 5e-4

// floors reads the density between two frequencies of the radio's clock at
// each gain; stays at the rails are passed over.
func (l *ladder) floors(topDB, lowHz, highHz float64, levels int) []rung {
	var out []rung
	for _, x := range l.stays {
		if x.clipped > railShare || !x.shows(lowHz, highHz) {
			continue
		}
		level := x.floor(lowHz, highHz)
		if !(level > 0) {
			continue
		}
		const coarsest = 0.3 // beyond it the converter's steps are all that is seen
		coarse := x.coarse(levels)
		if coarse > coarsest {
			continue
		}
		cells := (highHz - lowHz) / x.stepHz / 1.5
		relative := math.Hypot(1.25/math.Sqrt(x.averages*cells), 0.003)
		relative = math.Hypot(math.Hypot(relative, coarse), x.realSigma)
		y := x.perGain(level)
		out = append(out, rung{linear(x.realDB - topDB), y, relative * y})
	}
	return out
}

// coarse is how far off, relative to it, a floor may be read because the
// converter's steps are too large for the noise: its rounding is then no
// longer even noise. The first term by which it departs falls as
// exp(−2π²σ²), σ in steps (Widrow 1961).
func (x *stay) coarse(levels int) float64 {
	if levels == 0 {
		return 0
	}
	var power float64
	for i, d := range x.density {
		if away := math.Abs(float64(i-len(x.density)/2)) * x.stepHz; away > x.dcGapHz() {
			power += d * x.stepHz
		}
	}
	step := 2 / float64(levels)
	// With less than that (σ of half a step) what comes out is little but the two
	// levels beside the middle, however little goes in.
	const least = 1. / 3
	if power/2/(step*step) < least {
		return 1
	}
	squared := max(power/2/(step*step)-1./12, 0) // σ² of one branch, in steps
	e := 3 * math.Exp(-2*math.Pi*math.Pi*squared)
	return min(e*e, 1) + min(e, 1)*0.3
}

// lineSigma is what a line's power is at least uncertain by, as a part of it.
const lineSigma = 0.01

// lines reads the power within reach of a frequency of the radio's clock above
// what lies beside it.
func (l *ladder) lines(topDB, hz, reachHz float64) []rung {
	var out []rung
	for _, x := range l.stays {
		beside := max(reachHz, 20e3)
		low, high := hz-reachHz-beside, hz+reachHz+beside
		if x.clipped > railShare || !x.shows(low, high) || math.Abs(hz-x.centerHz) < reachHz+x.dcGapHz() {
			continue
		}
		sides := append(x.values(low, hz-reachHz), x.values(hz+reachHz, high)...)
		level := quantile(sides, 0.5)
		inside := x.values(hz-reachHz, hz+reachHz)
		if len(inside) == 0 || !(level > 0) {
			continue
		}
		var power, variance float64
		for _, d := range inside {
			power += (d - level) * x.stepHz
			v := d * x.stepHz
			variance += v * v / x.averages
		}
		// A line wanders over its steps, and what is beside it is known as well
		// as its own scatter.
		sigma := math.Sqrt(1.5*variance) + level*x.stepHz*float64(len(inside))/math.Sqrt(x.averages*float64(len(sides))/1.5)
		out = append(out, rung{linear(x.realDB - topDB), x.perGain(power), math.Hypot(x.perGain(sigma), math.Hypot(lineSigma, x.realSigma)*x.perGain(max(power, 0)))})
	}
	return out
}

// fit finds the weights, none negative, with which functions of the gain add
// up to the rungs, and the sum of squares over σ² that they leave. With so few
// functions every subset can be tried.
func fit(r []rung, functions ...func(gain float64) float64) (weights, sigmas []float64, rest float64) {
	n := len(functions)
	rest = math.Inf(1)
	weights, sigmas = make([]float64, n), make([]float64, n)
	for set := 0; set < 1<<n; set++ {
		var use []int
		for k := range n {
			if set&(1<<k) != 0 {
				use = append(use, k)
			}
		}
		if len(use) > len(r) {
			continue
		}
		w, s, ok := leastSquares(r, functions, use)
		if !ok {
			continue
		}
		left := 0.0
		for _, x := range r {
			y := x.value
			for i, k := range use {
				y -= w[i] * functions[k](x.gain)
			}
			left += y * y / (x.sigma * x.sigma)
		}
		if left < rest {
			rest = left
			clear(weights)
			for i, k := range use {
				weights[k], sigmas[k] = w[i], s[i]
			}
		}
	}
	return weights, sigmas, rest
}

// leastSquares solves for the weights of some of the functions; it is not ok
// where one is negative.
func leastSquares(r []rung, functions []func(float64) float64, use []int) (w, sigma []float64, ok bool) {
	if len(use) == 0 {
		return nil, nil, true
	}
	// Scaled to about 1, for powers at the input are tiny.
	scale := 0.0
	for _, x := range r {
		scale = max(scale, math.Abs(x.value))
	}
	if scale == 0 {
		scale = 1
	}
	n := len(use)
	a, b := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for _, x := range r {
		weight := scale * scale / (x.sigma * x.sigma)
		for i, k := range use {
			fi := functions[k](x.gain)
			b.SetVec(i, b.AtVec(i)+weight*fi*x.value/scale)
			for j := i; j < n; j++ {
				a.SetSym(i, j, a.At(i, j)+weight*fi*functions[use[j]](x.gain))
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, nil, false
	}
	var solution mat.VecDense
	if err := chol.SolveVecTo(&solution, b); err != nil {
		return nil, nil, false
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		return nil, nil, false
	}
	for i := range n {
		if solution.AtVec(i) < 0 {
			return nil, nil, false
		}
		w = append(w, solution.AtVec(i)*scale)
		sigma = append(sigma, math.Sqrt(inverse.At(i, i))*scale)
	}
	return w, sigma, true
}
