package listen

import (
	"math"

	"rooftone/dsp/decibel"
)

// A gain control that was left on in a radio follows what is heard: where a stay
// begins at another level than the last one ended, its level goes to a common place
// along an exponential. Nothing on the air does that. It is taken off before a stay is
// searched for training, which would take it for a channel that moves or for noise,
// and for patterns, which would take it for bursts.

const (
	controlPieceSeconds = 1.5e-3
	controlLeastPieces  = 12

	// A ramp is one for certain from controlClearDB on, and where a control was found
	// from controlSmallDB; what the exponential leaves is the noise of the pieces.
	controlClearDB, controlSmallDB = 1.5, 0.05
	controlRestDB                  = 0.3
	controlBetter                  = 3. // than a straight line, for one that is clear

	// So many stays with a clear ramp, and such a share of all, are a control.
	controlRamps, controlShare = 4, 0.08
)

// controlTimes are the time constants, in seconds, that are tried: what is faster
// settles with the tuner, what is slower may be a fading station.
var controlTimes = [...]float64{4e-3, 6e-3, 8e-3, 11e-3, 14e-3, 17e-3, 20e-3, 25e-3, 32e-3, 40e-3}

// control is what stays have shown of a gain control.
type control struct{ stays, ramps int }

func (c *control) found() bool {
	return c.ramps >= controlRamps && float64(c.ramps) >= controlShare*float64(c.stays)
}

// add counts a stay.
func (c *control) add(ramped bool) {
	c.stays++
	if ramped {
		c.ramps++
	}
}

// Controlled reports whether the radio changed its gain by itself.
func (s *Slices) Controlled() bool { return s.control.found() }

// level takes what a gain control does off a stay's samples, which keep their power,
// and reports whether that was there for certain.
func (c *control) level(x []complex64, rateHz float64) bool {
	clear := c.takeOff(x, rateHz)
	c.add(clear)
	return clear
}

func (c *control) takeOff(x []complex64, rateHz float64) (clear bool) {
	levels := piecesDB(x, int(controlPieceSeconds*rateHz))
	if len(levels) < controlLeastPieces {
		return false
	}
	r, ok := fitRamp(levels)
	if !ok {
		return false
	}
	clear = math.Abs(r.stepDB) > controlClearDB && r.restDB*controlBetter < r.lineDB
	if clear || c.found() && math.Abs(r.stepDB) > controlSmallDB {
		r.takeOff(x, rateHz)
	}
	return clear
}

// piecesDB are the levels of a stay's pieces.
func piecesDB(x []complex64, length int) []float64 {
	var out []float64
	for ; len(x) >= length; x = x[length:] {
		var sum float64
		for _, z := range x[:length] {
			sum += float64(real(z)*real(z) + imag(z)*imag(z))
		}
		if sum == 0 {
			return nil
		}
		out = append(out, decibel.Of(sum/float64(length)))
	}
	return out
}

// ramp is a level that begins stepDB beside where it ends.
type ramp struct {
	stepDB, seconds float64
	restDB, lineDB  float64 // what it leaves, and what a straight line leaves, rms
}

// fitRamp fits a ramp to the levels of pieces. It is not ok where that leaves more
// than their noise.
func fitRamp(levels []float64) (best ramp, ok bool) {
	at := func(i int) float64 { return (float64(i) + 0.5) * controlPieceSeconds }
	_, best.lineDB = fitShape(levels, at)
	best.restDB = math.Inf(1)
	for _, seconds := range controlTimes {
		step, rest := fitShape(levels, func(i int) float64 { return math.Exp(-at(i) / seconds) })
		if rest < best.restDB {
			best.stepDB, best.seconds, best.restDB = step, seconds, rest
		}
	}
	return best, best.restDB < controlRestDB
}

// fitShape fits a multiple of a shape and a constant, and returns the multiple and the
// rms of what is left.
func fitShape(levels []float64, shape func(int) float64) (factor, rest float64) {
	n := float64(len(levels))
	var sx, sy, sxx, sxy, syy float64
	for i, y := range levels {
		x := shape(i)
		sx, sy, sxx, sxy, syy = sx+x, sy+y, sxx+x*x, sxy+x*y, syy+y*y
	}
	vx, cov, vy := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	factor = cov / vx
	return factor, math.Sqrt(math.Max(0, vy-factor*cov) / n)
}

func (r ramp) takeOff(x []complex64, rateHz float64) {
	power := func() (sum float64) {
		for _, z := range x {
			sum += float64(real(z)*real(z) + imag(z)*imag(z))
		}
		return sum
	}
	const every = 64 // samples that have one gain
	before := power()
	for i := 0; i < len(x); i += every {
		db := r.stepDB * math.Exp(-(float64(i)+every/2)/rateHz/r.seconds)
		g := float32(decibel.Power(-db / 2))
		for k := i; k < min(i+every, len(x)); k++ {
			x[k] *= complex(g, 0)
		}
	}
	g := float32(math.Sqrt(before / power()))
	for i := range x {
		x[i] *= complex(g, 0)
	}
}
