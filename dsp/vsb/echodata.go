package vsb

import (
	"math"

	"rooftone/dsp/render"
)

// echoData is what a fit leaves for a search of echoes: the fields' mean, and
// what a path of gain 1 would make of it at delays half a step apart. Both are
// whitened to a variance of 1.
type echoData struct {
	middleHz float64 // of the band, above the channel's lower edge
	spanHz   float64 // the band's width
	offsetHz float64 // of the slice's middle, above the channel's lower edge
	rateHz   float64 // the slice's
	half     float64 // the delays' spacing, in seconds
	first    int     // the first column's delay
	rows     int
	data     []complex128
	columns  []complex64 // one after the other
	power    []float64   // of each column
	between  *render.Interpolator
}

// echoData makes the data from the last fit.
func (t *Trainer) echoData() *echoData {
	g, p := t.layout, &t.pursuit
	n := g.points
	d := &echoData{
		middleHz: g.middleHz, spanHz: 1 / g.step, half: g.step / 2,
		offsetHz: g.offsetHz, rateHz: g.rateHz,
		first: g.firstDelay - delayMargin, between: t.between,
	}
	var kinds []int
	for k, count := range p.count {
		if count > 0 {
			kinds = append(kinds, k)
		}
	}
	d.rows = n * len(kinds)
	count := g.lastDelay + delayMargin - d.first + 1
	d.columns, d.power = make([]complex64, count*d.rows), make([]float64, count)
	unit := 1 / math.Sqrt(t.scale)
	for i, k := range kinds {
		for _, v := range p.data[k*n : (k+1)*n] {
			d.data = append(d.data, v*complex(unit, 0))
		}
		scale := unit * math.Sqrt(float64(p.count[k]))
		for l := range count {
			g.atom(t.work, g.known[k], l+d.first)
			p.factor.solve(t.work)
			to := d.columns[l*d.rows+i*n:]
			for j, v := range t.work {
				v *= complex(scale, 0)
				d.power[l] += real(v)*real(v) + imag(v)*imag(v)
				to[j] = complex64(v)
			}
		}
	}
	return d
}

// reaches says whether there are columns around a delay.
func (d *echoData) reaches(delay float64) bool {
	at := delay/d.half - float64(d.first)
	return at >= render.TapsBefore && at < float64(len(d.power)-render.Taps+render.TapsBefore)
}

// weights returns the columns, from first on, that a delay lies between, what
// they count, and how that changes with the delay in seconds. The delay must
// be one that reaches allows.
func (d *echoData) weights(delay float64) (first int, w, slope [render.Taps]float32) {
	position := delay/d.half - float64(d.first)
	row, rest, first := d.between.Row(position)
	for j := range w {
		w[j] = row.Tap[j] + rest*row.Step[j]
		slope[j] = row.Step[j] * float32(render.Phases/d.half)
	}
	return first, w, slope
}

// column writes the column of a path at a delay, and its derivative.
func (d *echoData) column(dst, slope []complex128, delay float64) {
	first, w, s := d.weights(delay)
	clear(dst)
	clear(slope)
	for j := range w {
		c := d.columns[(first+j)*d.rows : (first+j+1)*d.rows]
		wj, sj := float64(w[j]), float64(s[j])
		for i, v := range c {
			re, im := float64(real(v)), float64(imag(v))
			dst[i] += complex(wj*re, wj*im)
			slope[i] += complex(sj*re, sj*im)
		}
	}
}

// matches returns the inner products of all columns with x.
func (d *echoData) matches(dst []complex128, x []complex128) []complex128 {
	dst = grow(dst, len(d.power))
	for l := range dst {
		var re, im float64
		for i, c := range d.columns[l*d.rows : (l+1)*d.rows] {
			a, b := float64(real(c)), float64(imag(c))
			re += a*real(x[i]) + b*imag(x[i])
			im += a*imag(x[i]) - b*real(x[i])
		}
		dst[l] = complex(re, im)
	}
	return dst
}
