package vsb

import (
	"math"
	"math/cmplx"

	"rooftone/dsp/air"
	"rooftone/dsp/render"
)

// The shapes that a radio's pass band may have over a slice, and how far it may
// have them, in amplitude: a droop towards the edges, a lean, and each of them
// once more at twice the rate.
const (
	droopSigma    = 0.15 // at the edge of what is used: 1.3 dB
	leanSigma     = 0.05 // at a quarter of the rate: 0.4 dB
	unevenSigma   = 0.02
	levelSigma    = 0.03 // of a slice's amplitude against the others', in nepers
	passBandReach = 2    // samples that the shapes' echoes are early or late
)

// sightSlice is what a slice tells of any set of paths: the inner products of
// its columns with each other and with its data, freed from what the radio's
// pass band may do. Columns between them are interpolated.
type sightSlice struct {
	*echoData
	count  int          // columns
	gram   []complex128 // of columns a and b at a·count+b: aᴴb
	match  []complex128 // of columns and data
	turnHz float64      // the slice's middle above that of all slices

	// Where the slice stands against the others.
	late, phase, level float64
}

func newSightSlice(d *echoData) *sightSlice {
	n := len(d.power)
	s := &sightSlice{echoData: d, count: n, gram: make([]complex128, n*n)}
	wide := make([]complex128, len(d.columns))
	for i, v := range d.columns {
		wide[i] = complex128(v)
	}
	for a := range n {
		x := wide[a*d.rows : (a+1)*d.rows]
		for b := a; b < n; b++ {
			v := inner(x, wide[b*d.rows:(b+1)*d.rows])
			s.gram[a*n+b], s.gram[b*n+a] = v, cmplx.Conj(v)
		}
		s.match = append(s.match, inner(x, d.data))
	}
	return s
}

// shape is a factor across a slice, as the sum of copies that come so many
// samples late, −passBandReach and up.
type shape struct {
	sigma  float64
	copies [2*passBandReach + 1]complex128
}

// passBandShapes are sin⁴(ω/2), 1 at the edge, and sin ω and sin² ω and sin 2ω,
// ω = 2πf/rate.
func passBandShapes() []shape {
	edge := math.Pow(math.Sin(math.Pi*air.PassBandEdge), 4)
	return []shape{
		{droopSigma / edge, [...]complex128{1. / 16, -1. / 4, 3. / 8, -1. / 4, 1. / 16}},
		{leanSigma, [...]complex128{0, -0.5i, 0, 0.5i, 0}},
		{unevenSigma, [...]complex128{-0.25, 0, 0.5, 0, -0.25}},
		{unevenSigma, [...]complex128{-0.5i, 0, 0, 0, 0.5i}},
	}
}

// free takes out what the shapes would make of the given paths: as if the noise
// had that in it, in all its directions, with the variances that the shapes
// have.
func (s *sightSlice) free(paths []echoPath) {
	n := s.count
	shapes := passBandShapes()
	var columns [][]complex128 // Aᴴb for each shape's b
	var coefficients [][]complex128
	for _, h := range shapes {
		x := make([]complex128, n)
		for i, c := range h.copies {
			lag := float64(i-passBandReach) / s.rateHz
			c *= complex(h.sigma, 0) * turn(-(s.middleHz-s.offsetHz)*lag)
			if c == 0 {
				continue
			}
			for _, p := range paths {
				if !s.reaches(p.delay + s.late + lag) {
					continue
				}
				first, w, _ := s.weights(p.delay + s.late + lag)
				g := c * p.gain
				for j, v := range w {
					x[first+j] += g * complex(float64(v), 0)
				}
			}
		}
		ax := make([]complex128, n)
		for a := range ax {
			ax[a] = dot(s.gram[a*n:(a+1)*n], x)
		}
		columns, coefficients = append(columns, ax), append(coefficients, x)
	}
	k := len(shapes)
	inside := newTriangle(k)
	toData := make([]complex128, k)
	for i := range k {
		toData[i] = inner(coefficients[i], s.match)
		for j := range i + 1 {
			inside.a[i*k+j] = inner(coefficients[i], columns[j])
		}
		inside.a[i*k+i] += 1
	}
	if inside.factor() != nil {
		return
	}
	inside.solve(toData)
	// L⁻¹·BᴴA, column by column.
	across := make([]complex128, n*k)
	for a := range n {
		row := across[a*k : (a+1)*k]
		for i := range k {
			row[i] = cmplx.Conj(columns[i][a])
		}
		inside.solve(row)
		s.match[a] -= inner(row, toData)
	}
	for a := range n {
		for b := range n {
			s.gram[a*n+b] -= inner(across[a*k:(a+1)*k], across[b*k:(b+1)*k])
		}
	}
}

// view is a path as a slice sees it.
type view struct {
	first int
	w     [render.Taps]float64
	spin  complex128
	match complex128
	self  float64
	image []complex128 // the gram matrix times w
}

// look fills a view of a path at a delay, but for its image.
func (s *sightSlice) look(v *view, delay float64) bool {
	if !s.reaches(delay + s.late) {
		return false
	}
	position := (delay+s.late)/s.half - float64(s.echoData.first)
	row, rest, first := s.between.Row(position)
	v.first = first
	v.match = 0
	for j := range v.w {
		v.w[j] = float64(row.Tap[j] + rest*row.Step[j])
		v.match += complex(v.w[j], 0) * s.match[first+j]
	}
	sin, cos := math.Sincos(s.phase - 2*math.Pi*s.turnHz*delay)
	size := math.Exp(s.level)
	v.spin = complex(size*cos, size*sin)
	v.self = 0
	for i, wi := range v.w {
		row := s.gram[(first+i)*s.count+first : (first+i)*s.count+first+len(v.w)]
		sum := 0.5 * wi * real(row[i])
		for j := range i {
			sum += v.w[j] * real(row[j])
		}
		v.self += 2 * wi * sum
	}
	return true
}

// project fills a view's image.
func (s *sightSlice) project(v *view) {
	v.image = grow(v.image, s.count)
	for a := range v.image {
		row := s.gram[a*s.count+v.first : a*s.count+v.first+render.Taps]
		var re, im float64
		for j, w := range v.w {
			re += w * real(row[j])
			im += w * imag(row[j])
		}
		v.image[a] = complex(re, im)
	}
}

// times returns xᴴy for the columns of two paths, of which y has its image.
func (x *view) times(y *view) complex128 {
	part := y.image[x.first : x.first+render.Taps]
	var re, im float64
	for j, w := range x.w {
		re += w * real(part[j])
		im += w * imag(part[j])
	}
	return cmplx.Conj(x.spin) * y.spin * complex(re, im)
}
