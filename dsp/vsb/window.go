package vsb

import (
	"math"
	"math/bits"

	"rooftone/dsp/psd"
)

const (
	// A field sync is cut out of a stay with this much around it, and faded
	// in and out over what goes beyond windowFlat.
	windowFlat = 55e-6 // seconds from the training's middle
	windowHalf = 100e-6

	// A field sync is used when this much around its middle is in the stay.
	windowNeeded = 54e-6

	trainingMiddle = (KnownSymbols - 1) / 2. / SymbolRateHz
)

// window brings the samples of field syncs on a layout's grid.
type window struct {
	layout  *layout
	fft     *psd.FFT
	size    int
	taper   []float32
	gain    []float64 // by bin, to divide the radio's pass band out; nil when that is flat
	samples []complex64
	at      []complex128 // bins at the grid's first point
	step    []complex128 // and their turn from point to point
}

func newWindow(g *layout) (*window, error) {
	w := &window{layout: g, size: 1 << bits.Len(uint(2*windowHalf*g.rateHz-1))}
	var err error
	if w.fft, err = psd.NewFFT(w.size); err != nil {
		return nil, err
	}
	w.taper, w.samples = make([]float32, w.size), make([]complex64, w.size)
	for i := range w.taper {
		d := math.Abs(float64(i)-float64(w.size)/2) / g.rateHz
		switch x := (d - windowFlat) / (windowHalf - windowFlat); {
		case x <= 0:
			w.taper[i] = 1
		case x < 1:
			w.taper[i] = float32(0.5 + 0.5*math.Cos(math.Pi*x))
		}
	}
	return w, nil
}

// setPassBand sets the radio's amplitude response, which cut divides out.
func (w *window) setPassBand(passBand func(hz float64) float64) {
	if passBand == nil {
		w.gain = nil
		return
	}
	w.gain = grow(w.gain, w.size)
	for k := -w.size / 2; k < w.size/2; k++ {
		hz := float64(k) / float64(w.size) * w.layout.rateHz
		gain := 1.
		if v := passBand(hz); v > 0 {
			gain = 1 / v
		}
		w.gain[(k+w.size)%w.size] = gain
	}
}

// holds says whether the stay of the given length has enough of the field sync
// that begins at a place in it.
func (w *window) holds(samples int, start float64) bool {
	middle := start + trainingMiddle*w.layout.rateHz
	needed := windowNeeded * w.layout.rateHz
	return middle-needed >= 0 && middle+needed <= float64(samples-1)
}

// cut fills dst with the grid's points of the field sync whose first peak is
// start samples into x, for a carrier that is carrierHz too high and a clock
// that is fast by the given part.
func (w *window) cut(dst []complex128, x []complex64, start, carrierHz, clock float64) error {
	g := w.layout
	first := int(math.Round(start + trainingMiddle*g.rateHz - float64(w.size)/2))
	clear(w.samples)
	for i := max(0, -first); i < w.size && first+i < len(x); i++ {
		t := w.taper[i]
		v := x[first+i]
		w.samples[i] = complex(real(v)*t, imag(v)*t)
	}
	if err := w.fft.Transform(w.samples, w.samples); err != nil {
		return err
	}
	rate := g.rateHz * (1 + clock)
	begin := (float64(first) - start) / rate // of the window, after the first peak
	middle := g.middleHz - g.offsetHz + carrierHz
	scale := math.Sqrt(g.step) / float64(w.size)
	w.at, w.step = w.at[:0], w.step[:0]
	t0 := g.time(0)
	bin := rate / float64(w.size)
	low := max(-w.size/2, int(math.Ceil((middle-(g.highHz-g.lowHz)/2)/bin)))
	high := min(w.size/2-1, int((middle+(g.highHz-g.lowHz)/2)/bin))
	// From bin to bin both turn by the same angle.
	at, atSpin := turn(float64(low)*bin*(t0-begin)-middle*t0), turn(bin*(t0-begin))
	step, stepSpin := turn((float64(low)*bin-middle)*g.step), turn(bin*g.step)
	for k := low; k <= high; k++ {
		i := k & (w.size - 1)
		amplitude := g.filter(float64(k)*bin-middle) * scale
		if w.gain != nil {
			amplitude *= w.gain[i]
		}
		w.at = append(w.at, complex128(w.samples[i])*at*complex(amplitude, 0))
		w.step = append(w.step, step)
		at *= atSpin
		step *= stepSpin
	}
	for i := range dst {
		var re, im float64
		for k, v := range w.at {
			s := w.step[k]
			re += real(v)
			im += imag(v)
			w.at[k] = complex(real(v)*real(s)-imag(v)*imag(s), real(v)*imag(s)+imag(v)*real(s))
		}
		dst[i] = complex(re, im)
	}
	return nil
}
