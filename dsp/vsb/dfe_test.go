package vsb

import (
	"errors"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// path is one way of a transmission to the receiver. Its gain is counted as
// Renderer.Add does in a slice centred on the channel.
type path struct {
	delay float64 // seconds
	gain  complex128
}

// symbolChannel is what symbol-spaced complex samples after a receiver's
// matched filter, with the pilot moved to 0 Hz, hold of 8-VSB symbols:
//
//	r[n] = Σ s[m]·pulse(n−m) + noise.
//
// They are not aliased: the channel is narrower than the symbol rate.
type symbolChannel struct {
	pulse []complex128 // pulse(n) is pulse[n−first]
	first int
	noise []complex128 // autocorrelation at lags from 0 on
}

// pulseReach is how many symbols the pulse of a path is followed to either
// side; it is −95 dB there.
const pulseReach = 150

// newSymbolChannel returns the channel with the given paths and white noise of
// noiseDensity, sampled late seconds after the symbols' peaks.
func newSymbolChannel(paths []path, noiseDensity, late float64, longest int) *symbolChannel {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range paths {
		low, high = math.Min(low, p.delay), math.Max(high, p.delay)
	}
	c := &symbolChannel{
		first: int(math.Floor(low*SymbolRateHz)) - pulseReach,
		noise: make([]complex128, longest),
	}
	c.pulse = make([]complex128, int(math.Ceil(high*SymbolRateHz))+pulseReach-c.first)
	for _, p := range paths {
		gain := pulseHeight / 2 * p.gain * turn((ChannelWidthHz/2-PilotOffsetHz)*p.delay)
		for i := range c.pulse {
			t := float64(c.first+i)/SymbolRateHz + late - p.delay
			c.pulse[i] += gain * raisedCosine(t)
		}
	}
	for i := range c.noise {
		c.noise[i] = complex(noiseDensity*nyquistHz, 0) * raisedCosine(float64(i)/SymbolRateHz)
	}
	return c
}

// raisedCosine is the closed form of the pulse whose spectrum is the square of
// the standard's response, counted from the pilot, with a peak of 1.
func raisedCosine(t float64) complex128 {
	x := t * nyquistHz
	y := 2 * RollOff * x
	shape := math.Pi / 4 // where y is 1
	if math.Abs(1-y*y) > 1e-9 {
		shape = math.Cos(math.Pi*RollOff*x) / (1 - y*y)
	}
	return complex(shape*sinc(x), 0) * turn(nyquistHz/2*t)
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// disturb adds noise of the given density above the lower channel edge, summed
// over the middles of steps of a width in hertz.
func (c *symbolChannel) disturb(density func(hz float64) float64, stepHz float64) {
	for hz := stepHz / 2; hz < ChannelWidthHz; hz += stepHz {
		r := response(hz)
		power := complex(density(hz)*r*r*stepHz, 0)
		for i := range c.noise {
			c.noise[i] += power * turn((hz-PilotOffsetHz)*float64(i)/SymbolRateHz)
		}
	}
}

// at returns pulse(n).
func (c *symbolChannel) at(n int) complex128 {
	if i := n - c.first; i >= 0 && i < len(c.pulse) {
		return c.pulse[i]
	}
	return 0
}

// equaliser is a decision-feedback equaliser whose output for symbol k is
//
//	Re Σ conj(forward[i])·r[k+ahead−i] − Σ feedback[j]·s[k−1−j].
//
// Its forward taps are complex and one symbol apart, which for 8-VSB is more
// than the bandwidth asks: neither the carrier's nor the sampling's phase
// matters to it.
type equaliser struct {
	forward  []complex128
	feedback []float64
	ahead    int

	snr float64 // what the statistics promise at the slicer, as a ratio
}

// design returns the equaliser with the least mean square error of all with so
// many taps, from the channel's statistics: with correct decisions, feedback
// does away with what len(feedback) symbols before this one leave, so the
// forward filter is the Wiener filter for the channel without them, and the
// feedback what that filter lets through of them. quadrature false takes the
// samples' real parts only, for which the pilot's phase should be 0.
func (c *symbolChannel) design(forward, feedback int, quadrature bool) (*equaliser, error) {
	d := newDesigner(c, forward, feedback, quadrature)
	low, high := c.first+pulseReach, c.first+len(c.pulse)-pulseReach+forward
	best, bestAhead := math.Inf(1), low
	for step := max(4, forward/8); step > 0; step /= 2 {
		for ahead := low; ahead <= high; ahead += step {
			mse, err := d.error(ahead)
			if err != nil {
				return nil, err
			}
			if mse < best {
				best, bestAhead = mse, ahead
			}
		}
		low, high = bestAhead-step+1, bestAhead+step-1
	}
	if _, err := d.error(bestAhead); err != nil {
		return nil, err
	}
	return d.taps(best), nil
}

// designer finds equalisers for one wait after the other.
type designer struct {
	channel           *symbolChannel
	forward, feedback int
	quadrature        bool

	whole    *mat.SymDense // covariance of the samples in the forward filter
	left     *mat.SymDense // the same without the symbols that feedback takes away
	column   *mat.VecDense
	factor   mat.Cholesky
	solution *mat.VecDense
	ahead    int // of the symbols not in left
}

func (d *designer) size() int {
	if d.quadrature {
		return 2 * d.forward
	}
	return d.forward
}

// fill sets column to what the symbol m before the newest sample is in the
// forward filter: pulse(m−i) in tap i, real parts before imaginary ones.
func (d *designer) fill(m int) {
	for i := range d.forward {
		v := d.channel.at(m - i)
		d.column.SetVec(i, real(v))
		if d.quadrature {
			d.column.SetVec(d.forward+i, imag(v))
		}
	}
}

func newDesigner(c *symbolChannel, forward, feedback int, quadrature bool) *designer {
	d := &designer{channel: c, forward: forward, feedback: feedback, quadrature: quadrature}
	n := d.size()
	d.column, d.solution = mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	d.whole, d.left = mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			// A proper complex noise: half of it in either part.
			lag := j%forward - i%forward
			v := c.noise[max(lag, -lag)] / 2
			if lag < 0 {
				v = cmplx.Conj(v)
			}
			if (i < forward) == (j < forward) {
				d.whole.SetSym(i, j, real(v))
			} else {
				d.whole.SetSym(i, j, -imag(v))
			}
		}
		// Some noise where the matched filter leaves none, 60 dB down.
		d.whole.SetSym(i, i, d.whole.At(i, i)*(1+1e-6))
	}
	for m := c.first; m < c.first+len(c.pulse)+forward; m++ {
		d.add(d.whole, m, 1)
	}
	d.ahead = math.MinInt
	return d
}

// add adds the part of the covariance that the symbol m before the newest
// sample has.
func (d *designer) add(to *mat.SymDense, m int, sign float64) {
	d.fill(m)
	to.SymRankOne(to, sign*LevelMeanSquare, d.column)
}

// error returns the least mean square error, with the symbols' mean square as
// 1, of the equaliser that waits for ahead samples after a symbol's own.
func (d *designer) error(ahead int) (float64, error) {
	if ahead < d.ahead || ahead > d.ahead+d.feedback/2 {
		d.left.CopySym(d.whole)
		for m := ahead + 1; m <= ahead+d.feedback; m++ {
			d.add(d.left, m, -1)
		}
		d.ahead = ahead
	}
	for d.ahead < ahead {
		d.ahead++
		d.add(d.left, d.ahead, 1)
		d.add(d.left, d.ahead+d.feedback, -1)
	}
	if !d.factor.Factorize(d.left) {
		return 0, errors.New("the covariance of the samples is singular")
	}
	d.fill(ahead)
	if err := d.factor.SolveVecTo(d.solution, d.column); err != nil {
		var ill mat.Condition
		if !errors.As(err, &ill) {
			return 0, err
		}
	}
	return 1 - LevelMeanSquare*mat.Dot(d.column, d.solution), nil
}

// taps returns the equaliser of the last call of error, which returned mse.
func (d *designer) taps(mse float64) *equaliser {
	e := &equaliser{
		forward:  make([]complex128, d.forward),
		feedback: make([]float64, d.feedback),
		ahead:    d.ahead,
		snr:      1/mse - 1,
	}
	for i := range e.forward {
		v := complex(LevelMeanSquare*d.solution.AtVec(i), 0)
		if d.quadrature {
			v += complex(0, LevelMeanSquare*d.solution.AtVec(d.forward+i))
		}
		e.forward[i] = v
	}
	for j := range e.feedback {
		d.fill(d.ahead + 1 + j)
		e.feedback[j] = LevelMeanSquare * mat.Dot(d.column, d.solution)
	}
	return e
}

// equalise fills dst with the outputs for the symbols from k on, given the
// samples and the right decisions, both from index 0 on.
func (e *equaliser) equalise(dst []float64, samples []complex128, symbols []float64, k int) {
	for n := range dst {
		sum := 0.
		for i, f := range e.forward {
			v := samples[k+n+e.ahead-i]
			sum += real(f)*real(v) + imag(f)*imag(v)
		}
		for j, b := range e.feedback {
			sum -= b * symbols[k+n-1-j]
		}
		dst[n] = sum
	}
}

// slicerSNR returns the ratio of signal to noise in equalised symbols, each
// freed from a common gain and DC.
func slicerSNR(equalised, symbols []float64) float64 {
	var n, x, y, xx, yy, xy float64
	for i, s := range symbols {
		z := equalised[i]
		n, x, y, xx, yy, xy = n+1, x+s, y+z, xx+s*s, yy+z*z, xy+s*z
	}
	xx, yy, xy = xx-x*x/n, yy-y*y/n, xy-x*y/n
	r2 := xy * xy / (xx * yy)
	return r2 / (1 - r2)
}
