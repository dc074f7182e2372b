package air

import (
	"fmt"
	"math"
)

// Quantiser rounds I and Q each to one of 2^bits levels that lie evenly from
// −1 to 1, the outer two being the rails. No level is at 0: the middle lies
// between two of them, as in the unsigned bytes of the common dongles.
type Quantiser struct {
	level []float32
	scale float32 // half the number of steps
}

// NewQuantiser returns a quantiser of 1 to 16 bits.
func NewQuantiser(bits int) (*Quantiser, error) {
	if bits < 1 || bits > 16 {
		return nil, fmt.Errorf("making a quantiser of %d bits: must be from 1 to 16", bits)
	}
	q := &Quantiser{level: make([]float32, 1<<bits)}
	q.scale = float32(len(q.level)-1) / 2
	for i := range q.level {
		q.level[i] = (float32(i) - q.scale) / q.scale
	}
	return q, nil
}

// Apply rounds x in place and returns how many samples have I or Q on a rail.
// What lies beyond the rails, and infinities, go there; NaN goes to the middle.
func (q *Quantiser) Apply(x []complex64) (clipped int) {
	top := len(q.level) - 1
	for k, z := range x {
		a, b := q.index(real(z)), q.index(imag(z))
		x[k] = complex(q.level[a], q.level[b])
		if a == 0 || b == 0 || a == top || b == top {
			clipped++
		}
	}
	return clipped
}

func (q *Quantiser) index(x float32) int {
	v := x*q.scale + q.scale + 0.5
	if top := len(q.level) - 1; v >= float32(top) {
		return top
	}
	if v >= 0 {
		return int(v)
	}
	if v < 0 {
		return 0
	}
	return int(q.scale)
}

// Rounding says what a quantiser makes of a Gaussian input (Bussgang 1952): its
// output is Gain times the input plus an error that is uncorrelated with it.
type Rounding struct {
	Gain  float64 // of amplitude, below 1 where the input reaches the rails
	Error float64 // power of the error, I and Q together
}

// Rounding returns what the quantiser makes of complex Gaussian input of the
// given mean power. For an input well between the rails and no smaller than a
// step the error is that of a uniform quantiser, step²/12 each for I and Q.
func (q *Quantiser) Rounding(power float64) Rounding {
	sigma, half := math.Sqrt(power/2), float64(q.scale)
	if sigma == 0 {
		// The middle threshold's two neighbours, half a step away.
		return Rounding{Gain: 1, Error: 1 / (2 * half * half)}
	}
	// Each level is met with the probability between its two thresholds. By
	// parts, E[x·y] = σ²·E[dy/dx] = σ²·Σ step·density(threshold).
	step := 1 / half
	var square, slope float64
	below := 0.0
	for i := range q.level {
		y := (float64(i) - half) / half // q.level[i] is too coarse for the difference below
		upto := 1.0
		if i < len(q.level)-1 {
			edge := (y + step/2) / sigma
			upto = math.Erfc(-edge/math.Sqrt2) / 2
			slope += step * bell(edge) / (math.Sqrt(2*math.Pi) * sigma)
		}
		square += y * y * (upto - below)
		below = upto
	}
	return Rounding{Gain: slope, Error: 2 * (square - slope*slope*sigma*sigma)}
}
