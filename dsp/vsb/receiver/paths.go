package receiver

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"rooftone/dsp/vsb"
)

// Path is one way on which a transmission arrives.
type Path struct {
	DelaySeconds float64    // after the strongest path
	Gain         complex128 // relative to it
}

const (
	mostPaths     = 32
	pathsApart    = 0.5      // symbols: closer ones are one path here
	pathStep      = 1.0 / 16 // symbols, and a fourth of that in the second look
	besideAPath   = 1.5      // symbols: what is left there is the path's own, of its delay being known so well
	leastPathGain = 0.01
)

// Paths finds the paths that a channel's taps are made of, the earliest first. Each
// path is a pulse in the taps, the transmitter's and the receiver's filter one after
// the other, which spreads over many of them; what that explains is no echo. Paths
// weaker than leastDB relative to the strongest are left out, as are those that are
// too close to another to be told from it.
func Paths(taps []Tap, leastDB float64) []Path {
	left := make([]complex128, len(taps))
	for i, t := range taps {
		if !cmplx.IsNaN(t.Gain) && !cmplx.IsInf(t.Gain) {
			left[i] = t.Gain
		}
	}
	whole := slices.Clone(left)
	least := math.Max(leastPathGain, math.Pow(10, leastDB/20))
	var delays []float64 // in symbols, as those of the taps
	var gains []complex128
	for len(delays) < mostPaths {
		at, most := -1, 0.0
		for i, v := range left {
			d := taps[i].DelaySeconds * vsb.SymbolRateHz
			if a := cmplx.Abs(v); a > most && !slices.ContainsFunc(delays, func(x float64) bool { return math.Abs(x-d) < besideAPath }) {
				at, most = i, a
			}
		}
		// A pulse between two taps is at the least √½ of its height on the nearer.
		if at < 0 || len(gains) > 0 && most < least*strongestGain(gains)*math.Sqrt2/2 {
			break
		}
		delays = append(delays, pulsePlace(taps, left, taps[at].DelaySeconds*vsb.SymbolRateHz))
		// A neighbour drew an earlier one aside: each is placed again without the others.
		for range 2 {
			gains = pathGains(taps, whole, delays)
			for k := range delays {
				without := lessPulses(taps, whole, delays, gains, k)
				if d := pulsePlace(taps, without, delays[k]); !crowded(delays, k, d) {
					delays[k] = d
				}
			}
		}
		gains = pathGains(taps, whole, delays)
		left = lessPulses(taps, whole, delays, gains, -1)
	}
	return toldPaths(delays, gains, least)
}

// toldPaths are the paths relative to the strongest.
func toldPaths(delays []float64, gains []complex128, least float64) []Path {
	var out []Path
	if len(gains) == 0 {
		return nil
	}
	first := 0
	for k := range gains {
		if cmplx.Abs(gains[k]) > cmplx.Abs(gains[first]) {
			first = k
		}
	}
	for k := range gains {
		if g := gains[k] / gains[first]; cmplx.Abs(g) >= least {
			out = append(out, Path{(delays[k] - delays[first]) / vsb.SymbolRateHz, g})
		}
	}
	slices.SortFunc(out, func(a, b Path) int { return cmp.Compare(a.DelaySeconds, b.DelaySeconds) })
	return out
}

func strongestGain(gains []complex128) float64 {
	most := 0.0
	for _, g := range gains {
		most = math.Max(most, cmplx.Abs(g))
	}
	return most
}

func crowded(delays []float64, k int, d float64) bool {
	for i, x := range delays {
		if i != k && math.Abs(x-d) < pathsApart {
			return true
		}
	}
	return false
}

// pulse is what a path leaves at a time after it, in symbols: a raised cosine of half
// the symbol rate around the channel's middle, which lies a fourth of the symbol rate
// above the pilot. A/53 Part 2, 6.8 (the filters), 6.5 (the pilot).
func pulse(symbols float64) complex128 {
	x := symbols / 2
	shape := 1.0
	if x != 0 {
		shape = math.Sin(math.Pi*x) / (math.Pi * x)
	}
	b := 2 * vsb.RollOff * x
	if d := 1 - b*b; math.Abs(d) > 1e-9 {
		shape *= math.Cos(math.Pi*b/2) / d
	} else {
		shape *= math.Pi / 4
	}
	return complex(shape, 0) * cmplx.Rect(1, math.Pi/2*symbols)
}

// pulsePlace finds where the pulse stands best, about a delay in symbols.
func pulsePlace(taps []Tap, in []complex128, about float64) float64 {
	const reach = 24 // symbols to each side that are looked at
	at := func(d float64) float64 {
		var sum complex128
		for i, v := range in {
			if x := taps[i].DelaySeconds*vsb.SymbolRateHz - d; math.Abs(x) < reach {
				sum += v * cmplx.Conj(pulse(x))
			}
		}
		return cmplx.Abs(sum)
	}
	for step, span := pathStep, 1.0; step > pathStep/20; step, span = step/4, step {
		best, most := about, -1.0
		for d := about - span; d <= about+span+step/2; d += step {
			if a := at(d); a > most {
				best, most = d, a
			}
		}
		about = best
	}
	return about
}

// pathGains fits the gains of all paths at once, by least squares.
func pathGains(taps []Tap, whole []complex128, delays []float64) []complex128 {
	n := len(delays)
	rows := make([][]complex128, n)
	for k := range rows {
		rows[k] = make([]complex128, n+1)
		for i, v := range whole {
			s := taps[i].DelaySeconds * vsb.SymbolRateHz
			p := cmplx.Conj(pulse(s - delays[k]))
			for j := range n {
				rows[k][j] += p * pulse(s-delays[j])
			}
			rows[k][n] += p * v
		}
		rows[k][k] += 1e-6 // two on one place do not fight
	}
	for k := range rows { // the matrix is positive definite: no pivots are needed
		for j := k + 1; j < n; j++ {
			f := rows[j][k] / rows[k][k]
			for c := k; c <= n; c++ {
				rows[j][c] -= f * rows[k][c]
			}
		}
	}
	out := make([]complex128, n)
	for k := n - 1; k >= 0; k-- {
		v := rows[k][n]
		for j := k + 1; j < n; j++ {
			v -= rows[k][j] * out[j]
		}
		out[k] = v / rows[k][k]
	}
	return out
}

// lessPulses is what is left of the taps without the paths' pulses, that of one path
// excepted.
func lessPulses(taps []Tap, whole []complex128, delays []float64, gains []complex128, but int) []complex128 {
	out := slices.Clone(whole)
	for i := range out {
		s := taps[i].DelaySeconds * vsb.SymbolRateHz
		for k, g := range gains {
			if k != but {
				out[i] -= g * pulse(s-delays[k])
			}
		}
	}
	return out
}
