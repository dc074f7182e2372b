package vsb

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/blas/blas64"

	"rooftone/dsp/render"
)

// levelSigma is how far a slice's amplitude may be from the others', in nepers.
const levelSigma = 0.015

// sightSlice is what a slice tells of any set of paths: the inner products of
// its columns with each other and with its data. Columns between them are
// interpolated.
type sightSlice struct {
	*echoData
	count  int          // columns
	gram   []complex128 // of columns a and b at a·count+b: aᴴb
	parts  []float64    // the gram matrix by columns, real and imaginary parts in turn
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
	s.parts = make([]float64, 0, 2*n*n)
	for _, v := range s.gram {
		s.parts = append(s.parts, real(v), -imag(v))
	}
	return s
}

// bent returns what a factor across the slice makes of the given paths, as
// weights of the columns.
func (s *sightSlice) bent(paths []echoPath, copies []complex128) []complex128 {
	x := make([]complex128, s.count)
	for i, c := range copies {
		lag := float64(i-len(copies)/2) / s.rateHz
		c *= turn(-(s.middleHz - s.offsetHz) * lag)
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
	return x
}

// seen returns the columns' inner products with what weights of them make.
func (s *sightSlice) seen(x []complex128) []complex128 {
	out := make([]complex128, s.count)
	for a := range out {
		out[a] = dot(s.gram[a*s.count:(a+1)*s.count], x)
	}
	return out
}

// bend takes out what is known of the pass band, and finds what its shapes make
// of the given paths.
func (s *sightSlice) bend(paths []echoPath, pass PassBand) error {
	known, err := pass.copies(s.rateHz)
	if err != nil {
		return err
	}
	if known != nil {
		addScaled(s.match, -1, s.seen(s.bent(paths, known)))
	}
	var made [passBandCount][]complex128
	for k, h := range pass.shapes() {
		made[k] = s.bent(paths, h.copies[:])
		for i := range made[k] {
			made[k][i] *= complex(h.sigma, 0)
		}
		s.shapes[k] = s.seen(made[k])
		s.shapeMatch[k] = real(inner(made[k], s.match))
	}
	for k := range made {
		for l := range made {
			s.shapeGram[k][l] = real(inner(made[k], s.shapes[l]))
		}
	}
	return nil
}

// view is a path as a slice sees it.
type view struct {
	first int
	w     [render.Taps]float64
	spin  complex128
	match complex128
	self  float64
	shape [passBandCount]complex128 // products with the pass band's shapes
	image []float64                 // the gram matrix times w, real and imaginary parts in turn
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
	n := 2 * s.count
	v.image = grow(v.image, n)
	clear(v.image)
	for j, w := range v.w {
		column := s.parts[(v.first+j)*n : (v.first+j+1)*n]
		blas64.Axpy(w, blas64.Vector{N: n, Data: column, Inc: 1}, blas64.Vector{N: n, Data: v.image, Inc: 1})
	}
}

// times returns xᴴy for the columns of two paths, of which y has its image.
func (x *view) times(y *view) complex128 {
	part := y.image[2*x.first : 2*(x.first+render.Taps)]
	var re, im float64
	for j, w := range x.w {
		re += w * part[2*j]
		im += w * part[2*j+1]
	}
	return cmplx.Conj(x.spin) * y.spin * complex(re, im)
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
