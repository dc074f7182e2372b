package vsb

import (
	"math"
	"math/cmplx"

	"rooftone/dsp/air"
	"rooftone/dsp/render"
)

// The shapes that a radio's pass band may have over a slice, and how far it
// may have them, in amplitude.
const (
	droopMean     = 0.0 // at the edge of what is used: 0.9 dB
	droopSigma    = 0.12
	leanSigma     = 0.03 // at a quarter of the rate: 0.35 dB
	unevenSigma   = 0.015
	levelSigma    = 0.03 // of a slice's amplitude against the others', in nepers
	passBandReach = 2    // samples that the shapes' echoes are early or late
	passBandCount = 4
)

// sightSlice is what a slice tells of any set of paths: the inner products of
// its columns with each other and with its data. Columns between them are
// interpolated.
type sightSlice struct {
	*echoData
	count  int          // columns
	gram   []complex128 // of columns a and b at a·count+b: aᴴb
	match  []complex128 // of columns and data
	turnHz float64      // the slice's middle above that of all slices

	// Where the slice stands against the others.
	late, phase, level float64

	// What the pass band's shapes make of the paths that were found, in units of
	// their spread: its inner products with the columns, with each other and
	// with the data.
	shapes     [passBandCount][]complex128
	shapeGram  [passBandCount][passBandCount]float64
	shapeMatch [passBandCount]float64
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
	mean, sigma float64
	copies      [2*passBandReach + 1]complex128
}

// passBandShapes are −sin⁴(ω/2), 1 at the edge, and sin ω and sin² ω and sin 2ω,
// ω = 2πf/rate.
func passBandShapes() [passBandCount]shape {
	edge := math.Pow(math.Sin(math.Pi*air.PassBandEdge), 4)
	return [...]shape{
		{droopMean / edge, droopSigma / edge, [...]complex128{-1. / 16, 1. / 4, -3. / 8, 1. / 4, -1. / 16}},
		{0, leanSigma, [...]complex128{0, -0.5i, 0, 0.5i, 0}},
		{0, unevenSigma, [...]complex128{-0.25, 0, 0.5, 0, -0.25}},
		{0, unevenSigma, [...]complex128{-0.5i, 0, 0, 0, 0.5i}},
	}
}

// bend finds what the pass band's shapes make of the given paths.
func (s *sightSlice) bend(paths []echoPath) {
	n := s.count
	var made [passBandCount][]complex128
	for k, h := range passBandShapes() {
		x := make([]complex128, n)
		for i, c := range h.copies {
			lag := float64(i-passBandReach) / s.rateHz
			c *= complex(h.sigma, 0) * turn(-(s.middleHz-s.offsetHz)*lag)
			for _, p := range paths {
				if c == 0 || !s.reaches(p.delay+s.late+lag) {
					continue
				}
				first, w, _ := s.weights(p.delay + s.late + lag)
				for j, v := range w {
					x[first+j] += c * p.gain * complex(float64(v), 0)
				}
			}
		}
		made[k], s.shapes[k] = x, make([]complex128, n)
		for a := range n {
			s.shapes[k][a] = dot(s.gram[a*n:(a+1)*n], x)
		}
		s.shapeMatch[k] = real(inner(x, s.match))
	}
	for k := range made {
		for l := range made {
			s.shapeGram[k][l] = real(inner(made[k], s.shapes[l]))
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
	shape [passBandCount]complex128 // products with the pass band's shapes
	image []complex128              // the gram matrix times w
}

// look fills a view of a path at a delay, but for its image.
func (s *sightSlice) look(v *view, delay float64) bool {
	if !s.reaches(delay + s.late) {
		return false
	}
	position := (delay+s.late)/s.half - float64(s.echoData.first)
	row, rest, first := s.between.Row(position)
	v.first = first
	for j := range v.w {
		v.w[j] = float64(row.Tap[j] + rest*row.Step[j])
	}
	v.match = v.weigh(s.match)
	for k := range v.shape {
		v.shape[k] = v.weigh(s.shapes[k])
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

// weigh returns Σ w·x over the columns that a view lies between.
func (v *view) weigh(x []complex128) complex128 {
	part := x[v.first : v.first+render.Taps]
	var re, im float64
	for j, w := range v.w {
		re += w * real(part[j])
		im += w * imag(part[j])
	}
	return complex(re, im)
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
	return cmplx.Conj(x.spin) * y.spin * x.weigh(y.image)
}

// product returns xᴴy for the columns of two paths that have no images.
func (s *sightSlice) product(x, y *view) complex128 {
	var re, im float64
	for i, wi := range x.w {
		row := s.gram[(x.first+i)*s.count+y.first : (x.first+i)*s.count+y.first+render.Taps]
		var r, m float64
		for j, w := range y.w {
			r += w * real(row[j])
			m += w * imag(row[j])
		}
		re += wi * r
		im += wi * m
	}
	return cmplx.Conj(x.spin) * y.spin * complex(re, im)
}
