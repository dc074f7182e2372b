package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// Passband is the shape that the radio's own filters give every slice.
type Passband struct {
	coefficients []float64 // Chebyshev, of offset / (listen.UsableShare × rate), in dB
	SigmaDB      float64   // what may be left of the shape after division
}

const (
	passbandParts  = 28 // pieces that a slice's usable band is cut into
	passbandDegree = 8
	// So many slices there must be, and so many behind each piece; fewer would
	// take one channel's echoes for the radio's filter.
	passbandSlices, pieceSlices = 8, 4
	// unknownPassbandDB is how far a cheap dongle's pass band strays from flat.
	unknownPassbandDB = 0.3
	// skirtHz is how far inside a channel's edge its spectrum still rises.
	skirtHz = 700e3
)

// At returns the pass band's gain in dB at an offset from a slice's middle.
func (p *Passband) At(offsetHz, rateHz float64) float64 {
	if p.coefficients == nil {
		return 0
	}
	u := max(-1, min(1, offsetHz/(listen.UsableShare*rateHz)))
	// Clenshaw's recurrence.
	var b1, b2 float64
	for k := len(p.coefficients) - 1; k > 0; k-- {
		b1, b2 = 2*u*b1-b2+p.coefficients[k], b1
	}
	return u*b1 - b2 + p.coefficients[0]
}

// findPassband estimates the shape that the slices of one sample rate have in
// common: the log spectrum of slice h in piece k is taken as level(h) +
// shape(k), and both are found by alternating medians, which neither stations
// nor tones can pull as long as most slices are flat in most places. Where a
// station's skirt lies is left out.
//
// stations are the channels in which something stands. With fewer than eight
// slices the shape is left flat and its uncertainty says so: that many others
// only narrow what is known of it.
func findPassband(slices []*listen.Slice, stations []band.Channel) Passband {
	flat := Passband{SigmaDB: unknownPassbandDB}
	if len(slices) < passbandSlices {
		return flat
	}
	table := make([][]float64, len(slices))
	for h, s := range slices {
		table[h] = passbandRow(s, stations)
	}
	shape := make([]float64, passbandParts)
	level := make([]float64, len(slices))
	var column []float64
	for range 12 {
		for h, row := range table {
			column = column[:0]
			for k, v := range row {
				if !math.IsNaN(v) {
					column = append(column, v-shape[k])
				}
			}
			level[h] = robust.Median(column)
		}
		for k := range shape {
			column = column[:0]
			for h, row := range table {
				if v := row[k] - level[h]; !math.IsNaN(v) {
					column = append(column, v)
				}
			}
			if len(column) < pieceSlices {
				return flat
			}
			shape[k] = robust.Median(column)
		}
	}
	coefficients, rest := fitChebyshev(shape, passbandDegree)
	p := Passband{coefficients: coefficients, SigmaDB: math.Max(0.02, rest)}
	p.coefficients[0] -= p.At(0, 1) // only the shape matters: gain 1 in the middle
	return p
}

// passbandRow cuts a slice's usable band into pieces and returns the median
// density of each in dB, NaN where a channel's skirt or the DC spike may lie.
func passbandRow(s *listen.Slice, channels []band.Channel) []float64 {
	row := make([]float64, passbandParts)
	width := 2 * listen.UsableShare * s.RateHz / passbandParts
	var piece []float64
	for k := range row {
		low := -listen.UsableShare*s.RateHz + float64(k)*width
		row[k] = math.NaN()
		if nearSkirt(s.CenterHz+low, s.CenterHz+low+width, channels) {
			continue
		}
		piece = piece[:0]
		for i, d := range s.Density {
			f := (float64(i) - float64(len(s.Density)/2)) * s.StepHz
			if f >= low && f < low+width && math.Abs(f) > s.DCGapHz() && d > 0 {
				piece = append(piece, d)
			}
		}
		if len(piece) > 8 {
			row[k] = decibel.Of(robust.Median(piece))
		}
	}
	return row
}

func nearSkirt(lowHz, highHz float64, channels []band.Channel) bool {
	for _, c := range channels {
		for _, skirt := range [2]float64{c.LowerHz + skirtHz/2, c.UpperHz() - skirtHz/2} {
			if highHz > skirt-skirtHz/2 && lowHz < skirt+skirtHz/2 {
				return true
			}
		}
	}
	return false
}

// fitChebyshev fits values at the middles of equal pieces of −1…1 and returns
// the coefficients and the root mean square of what they leave.
func fitChebyshev(values []float64, degree int) (coefficients []float64, rest float64) {
	n := len(values)
	a := mat.NewDense(n, degree+1, nil)
	for i := range values {
		u := (2*float64(i)+1)/float64(n) - 1
		for k := 0; k <= degree; k++ {
			a.Set(i, k, math.Cos(float64(k)*math.Acos(u)))
		}
	}
	y := mat.NewVecDense(n, values)
	var c mat.VecDense
	if err := c.SolveVec(a, y); err != nil {
		return make([]float64, degree+1), unknownPassbandDB
	}
	var fit mat.VecDense
	fit.MulVec(a, &c)
	fit.SubVec(&fit, y)
	return c.RawVector().Data, fit.Norm(2) / math.Sqrt(float64(n-degree-1))
}
