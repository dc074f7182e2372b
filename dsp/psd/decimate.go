package psd

import "math"

// stopbandDB is how far the decimation filter keeps aliases down.
const stopbandDB = 100

// decimator is a band-pass filter of which only every factor-th output is
// made. The band is not moved to zero: frequency f comes out as f modulo the
// lower rate.
type decimator struct {
	factor   int
	lowpass  []float64 // odd length, symmetric: the filter before it is moved to its band
	taps     []complex64
	expanded []float32 // the taps as dot8 wants them; nil when the plain code does it

	history []complex64 // the input that later outputs still need
	skip    int         // samples to pass over before the next output's first
}

// newDecimator makes a filter for samples at rateHz around offsetHz, flat to
// passHz on either side.
func newDecimator(rateHz, offsetHz, passHz float64, factor int, kernels bool) *decimator {
	d := &decimator{factor: factor, lowpass: []float64{1}}
	if factor > 1 {
		d.lowpass = lowpassTaps(rateHz, passHz, rateHz/float64(factor)-passHz)
	}
	// Zeros after the last tap make it a multiple of eight.
	half := len(d.lowpass) / 2
	d.taps = make([]complex64, (len(d.lowpass)+7)/8*8)
	for k, h := range d.lowpass {
		sin, cos := math.Sincos(-2 * math.Pi * math.Mod(offsetHz/rateHz*float64(k-half), 1))
		d.taps[k] = complex64(complex(h*cos, h*sin))
	}
	if kernels {
		d.expanded = expandTaps(d.taps)
	}
	d.history = make([]complex64, 0, len(d.taps)+max(4096, 4*factor))
	d.restart()
	return d
}

// expandTaps writes the taps, a multiple of four, as dot8 wants them.
func expandTaps(taps []complex64) []float32 {
	e := alignedFloats(4 * len(taps))
	for i, h := range taps {
		at := i/4*16 + i%4*2
		e[at], e[at+1] = real(h), real(h)
		e[at+8], e[at+9] = imag(h), imag(h)
	}
	return e
}

// lowpassTaps designs a linear-phase low-pass of odd length for samples at
// rateHz by Kaiser's method: flat to passHz, stopbandDB down from stopHz.
// J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window
// function", Proc. IEEE ISCAS 1974.
func lowpassTaps(rateHz, passHz, stopHz float64) []float64 {
	const beta = 0.1102 * (stopbandDB - 8.7)
	half := int(math.Ceil((stopbandDB - 7.95) / (2.285 * 2 * math.Pi * (stopHz - passHz) / rateHz) / 2))
	cutoff := (passHz + stopHz) / rateHz // in half cycles per sample
	taps := make([]float64, 2*half+1)
	sum := 0.0
	for i := range taps {
		t := float64(i - half)
		taps[i] = cutoff
		if t != 0 {
			taps[i] = math.Sin(math.Pi*cutoff*t) / (math.Pi * t)
		}
		taps[i] *= besselI0(beta * math.Sqrt(1-t*t/float64(half*half)))
		sum += taps[i]
	}
	for i := range taps {
		taps[i] /= sum
	}
	return taps
}

// besselI0 is the modified Bessel function of the first kind and order 0.
func besselI0(x float64) float64 {
	term, sum := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x / (2 * k) * x / (2 * k)
		sum += term
	}
	return sum
}

// response is the filter's amplitude at f from the middle of its band, as a
// part of the input's rate.
func (d *decimator) response(f float64) float64 {
	sum := 0.0
	for k, h := range d.lowpass {
		sum += h * math.Cos(2*math.Pi*f*float64(k-len(d.lowpass)/2))
	}
	return sum
}

// restart empties the filter. The samples before the first count as zero, so
// that the first output stands in the place of the first input: the filter has
// no delay.
func (d *decimator) restart() {
	d.history = d.history[:len(d.lowpass)/2]
	clear(d.history)
	d.skip = 0
}

// feed takes as much of x as it has room for and appends the outputs that are
// then due to out, as many as fit its capacity. It returns what it left of x.
func (d *decimator) feed(out, x []complex64) (longer, rest []complex64) {
	m := min(len(x), cap(d.history)-len(d.history))
	d.history = append(d.history, x[:m]...)
	at := d.skip
	for ; at+len(d.taps) <= len(d.history) && len(out) < cap(out); at += d.factor {
		out = append(out, d.output(d.history[at:]))
	}
	used := min(at, len(d.history))
	d.skip = at - used
	d.history = d.history[:copy(d.history, d.history[used:])]
	return out, x[m:]
}

// behind is how many more samples, zeros at a run's end, the output needs that
// stands in the place of the last one.
func (d *decimator) behind() int { return len(d.taps) - 1 - len(d.lowpass)/2 }

func (d *decimator) output(x []complex64) complex64 {
	if d.expanded != nil {
		return dot8(&x[0], &d.expanded[0], len(d.taps))
	}
	return dot(x, d.taps)
}

// dot is Σ x[i] h[i] over the length of h.
func dot(x, h []complex64) complex64 {
	var re, im float32
	x = x[:len(h)]
	for i, c := range h {
		re += real(x[i])*real(c) - imag(x[i])*imag(c)
		im += real(x[i])*imag(c) + imag(x[i])*real(c)
	}
	return complex(re, im)
}
