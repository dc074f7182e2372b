package vsb

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// echoModel is a channel of a few paths, seen through slices that have each a
// phase, a gain and a time of their own:
//
//	data_s = g_s·Σ a_p·exp(−j2π(f_s−f)·τ_p)·column_s(τ_p + t_s) + noise,
//
// where f_s is the slice's middle and f the slices' mean. The first path has
// the delay 0 and the gain 1. That the paths' phases turn from slice to slice
// by their delays is what lets the slices resolve more together.
//
// Parameters are g_s (two) and t_s for each slice, then a_p (two) and τ_p for
// each path but the first.
type echoModel struct {
	slices []*echoSlice
	paths  []echoPath
	power  float64 // of what the model leaves

	// The real part of JᴴJ, with each parameter in such units that the
	// diagonal is 1, those units, and the matrix' factor.
	normal *mat.SymDense
	units  []float64
	factor mat.Cholesky
}

// echoSlice is a slice as an echoModel sees it.
type echoSlice struct {
	*echoData
	turnHz float64 // f_s − f
	gain   complex128
	late   float64

	rest    []complex128
	vectors [][]complex128 // the derivatives' directions
	match   []complex128
}

// echoPath is a path of an echoModel.
type echoPath struct {
	delay  float64
	gain   complex128
	merged bool
}

const (
	echoSteps     = 25    // of Gauss and Newton, at most
	echoStepMost  = 80e-9 // by how much a delay may change at once, in seconds
	mostCondition = 1e9   // of the normal matrix, beyond which it tells nothing
	echoSettled   = 0.02  // change of the power at which it ends
)

func (m *echoModel) parameters() int { return 3 * (len(m.slices) + len(m.paths) - 1) }

// delayHolds says whether all slices have columns for a delay.
func (m *echoModel) delayHolds(delay float64) bool {
	for _, s := range m.slices {
		if !s.reaches(delay + s.late) {
			return false
		}
	}
	return true
}

// evaluate finds the residual of every slice and the model's derivatives. For
// slice s vectors holds the sum of the paths, its derivative in time, and then
// for each path but the first it and its derivative by the delay.
func (m *echoModel) evaluate() {
	m.power = 0
	for _, s := range m.slices {
		for len(s.vectors) < 2*len(m.paths)+2 {
			s.vectors = append(s.vectors, make([]complex128, s.rows))
		}
		sum, moved := s.vectors[0], s.vectors[1]
		clear(sum)
		clear(moved)
		spare, spareSlope := s.vectors[2*len(m.paths)], s.vectors[2*len(m.paths)+1]
		for p, path := range m.paths {
			c, d := spare, spareSlope
			if p > 0 {
				c, d = s.vectors[2*p], s.vectors[2*p+1]
			}
			s.column(c, d, path.delay+s.late)
			spin := turn(-s.turnHz * path.delay)
			tilt := complex(0, -2*math.Pi*s.turnHz)
			for i := range c {
				c[i] *= spin
				d[i] *= spin
				sum[i] += path.gain * c[i]
				moved[i] += path.gain * d[i]
				d[i] = path.gain * (d[i] + tilt*c[i])
			}
		}
		s.rest = grow(s.rest, s.rows)
		for i, v := range s.data {
			s.rest[i] = v - s.gain*sum[i]
		}
		m.power += norm2(s.rest)
	}
}

// column is a parameter's derivative: a factor times one of a slice's vectors.
type column struct {
	parameter int
	vector    int
	factor    complex128
}

// columns lists the derivatives of slice s.
func (m *echoModel) columns(s int) []column {
	g := m.slices[s].gain
	out := []column{{3 * s, 0, 1}, {3*s + 1, 0, 1i}, {3*s + 2, 1, g}}
	for p := 1; p < len(m.paths); p++ {
		at := 3 * (len(m.slices) + p - 1)
		out = append(out, column{at, 2 * p, g}, column{at + 1, 2 * p, g * 1i}, column{at + 2, 2*p + 1, g})
	}
	return out
}

// linearise finds the normal matrix and the gradient.
func (m *echoModel) linearise() *mat.VecDense {
	count := m.parameters()
	m.normal = mat.NewSymDense(count, nil)
	gradient := mat.NewVecDense(count, nil)
	for s, slice := range m.slices {
		vectors := slice.vectors[:2*len(m.paths)]
		gram := make([]complex128, len(vectors)*len(vectors))
		match := make([]complex128, len(vectors))
		for i, a := range vectors {
			match[i] = inner(a, slice.rest)
			for j := i; j < len(vectors); j++ {
				v := inner(a, vectors[j])
				gram[i*len(vectors)+j], gram[j*len(vectors)+i] = v, complex(real(v), -imag(v))
			}
		}
		columns := m.columns(s)
		for i, a := range columns {
			conj := complex(real(a.factor), -imag(a.factor))
			gradient.SetVec(a.parameter, gradient.AtVec(a.parameter)+real(conj*match[a.vector]))
			for _, b := range columns[i:] {
				v := real(conj * b.factor * gram[a.vector*len(vectors)+b.vector])
				m.normal.SetSym(a.parameter, b.parameter, m.normal.At(a.parameter, b.parameter)+v)
			}
		}
	}
	m.units = grow(m.units, count)
	for i := range m.units {
		m.units[i] = 1 / math.Sqrt(math.Max(m.normal.At(i, i), math.SmallestNonzeroFloat32))
	}
	for i := range m.units {
		gradient.SetVec(i, gradient.AtVec(i)*m.units[i])
		for j := i; j < count; j++ {
			m.normal.SetSym(i, j, m.normal.At(i, j)*m.units[i]*m.units[j])
		}
	}
	return gradient
}

// solve finds the least power near where the model is. It returns false when
// the parameters cannot be told apart.
func (m *echoModel) solve() bool {
	m.evaluate()
	damping := 1e-6
	for range echoSteps {
		gradient := m.linearise()
		before := m.power
		kept := m.save()
		for {
			damped := mat.NewSymDense(m.parameters(), nil)
			damped.CopySym(m.normal)
			for i := range m.parameters() {
				damped.SetSym(i, i, damped.At(i, i)*(1+damping))
			}
			var change mat.VecDense
			if m.factor.Factorize(damped) && m.factor.SolveVecTo(&change, gradient) == nil && m.move(&change) {
				m.evaluate()
				if m.power <= before {
					break
				}
			}
			m.restore(kept)
			if damping *= 10; damping > 1e6 {
				m.evaluate()
				return m.finish()
			}
		}
		damping = math.Max(damping/10, 1e-9)
		if before-m.power < echoSettled*math.Max(1, 1e-3*m.power) {
			break
		}
	}
	return m.finish()
}

// finish leaves the factor of the normal matrix.
func (m *echoModel) finish() bool {
	m.linearise()
	return m.factor.Factorize(m.normal) && m.factor.Cond() < mostCondition
}

// move changes the parameters. It returns false when they leave what the
// columns reach.
func (m *echoModel) move(change *mat.VecDense) bool {
	for i, unit := range m.units {
		change.SetVec(i, change.AtVec(i)*unit)
	}
	most := echoStepMost
	for i := 2; i < change.Len(); i += 3 {
		most = math.Max(most, math.Abs(change.AtVec(i)))
	}
	scale := echoStepMost / most
	for i, s := range m.slices {
		s.gain += complex(scale*change.AtVec(3*i), scale*change.AtVec(3*i+1))
		s.late += scale * change.AtVec(3*i+2)
	}
	for p := 1; p < len(m.paths); p++ {
		at := 3 * (len(m.slices) + p - 1)
		m.paths[p].gain += complex(scale*change.AtVec(at), scale*change.AtVec(at+1))
		m.paths[p].delay += scale * change.AtVec(at+2)
	}
	for _, p := range m.paths {
		if !m.delayHolds(p.delay) {
			return false
		}
	}
	return true
}

// saved is a model's parameters.
type saved struct {
	paths []echoPath
	gains []complex128
	late  []float64
}

func (m *echoModel) save() saved {
	out := saved{paths: append([]echoPath(nil), m.paths...)}
	for _, s := range m.slices {
		out.gains = append(out.gains, s.gain)
		out.late = append(out.late, s.late)
	}
	return out
}

func (m *echoModel) restore(from saved) {
	m.paths = append(m.paths[:0], from.paths...)
	for i, s := range m.slices {
		s.gain, s.late = from.gains[i], from.late[i]
	}
}

// lead makes path k the first.
func (m *echoModel) lead(k int) {
	first := m.paths[k]
	for _, s := range m.slices {
		s.gain *= first.gain * turn(-s.turnHz*first.delay)
		s.late += first.delay
	}
	m.paths[0], m.paths[k] = m.paths[k], m.paths[0]
	for p := range m.paths {
		m.paths[p].gain /= first.gain
		m.paths[p].delay -= first.delay
	}
}

// sigmas returns the standard uncertainties of a path's delay and of its
// gain's magnitude, both as the residual's noise of variance 1 gives them. The
// first path has none.
func (m *echoModel) sigmas(p int) (delay, magnitude float64) {
	if p == 0 {
		return 0, 0
	}
	at := 3 * (len(m.slices) + p - 1)
	g := m.paths[p].gain
	size := math.Hypot(real(g), imag(g))
	along := mat.NewVecDense(m.parameters(), nil)
	along.SetVec(at, real(g)/size)
	along.SetVec(at+1, imag(g)/size)
	return m.sigma(m.unit(at + 2)), m.sigma(along)
}

func (m *echoModel) unit(i int) *mat.VecDense {
	v := mat.NewVecDense(m.parameters(), nil)
	v.SetVec(i, 1)
	return v
}

// sigma is the standard uncertainty of a combination of parameters. Half of the
// noise is in either direction of the plane.
func (m *echoModel) sigma(of *mat.VecDense) float64 {
	var x mat.VecDense
	for i, unit := range m.units {
		of.SetVec(i, of.AtVec(i)*unit)
	}
	if m.factor.SolveVecTo(&x, of) != nil {
		return math.Inf(1)
	}
	return math.Sqrt(mat.Dot(of, &x) / 2)
}

// promise is by how much the power would fall if a path were added at a delay
// and all but the delays could follow, and that path's gain.
func (m *echoModel) promise(delay float64) (fall float64, gain complex128) {
	count := m.parameters()
	var size float64
	var match complex128
	across := [2]*mat.VecDense{mat.NewVecDense(count, nil), mat.NewVecDense(count, nil)}
	for i, s := range m.slices {
		last := len(s.vectors)
		c, d := s.vectors[last-2], s.vectors[last-1] // evaluate's spare ones
		s.column(c, d, delay+s.late)
		g := s.gain * turn(-s.turnHz*delay)
		size += norm2(c) * (real(g)*real(g) + imag(g)*imag(g))
		conj := complex(real(g), -imag(g))
		match += conj * inner(c, s.rest)
		products := make([]complex128, 2*len(m.paths))
		for j := range products {
			products[j] = inner(s.vectors[j], c) * g
		}
		for _, a := range m.columns(i) {
			v := complex(real(a.factor), -imag(a.factor)) * products[a.vector]
			across[0].SetVec(a.parameter, across[0].AtVec(a.parameter)+real(v))
			across[1].SetVec(a.parameter, across[1].AtVec(a.parameter)-imag(v))
		}
	}
	var x [2]mat.VecDense
	for i := range x {
		for j, unit := range m.units {
			across[i].SetVec(j, across[i].AtVec(j)*unit)
		}
		if m.factor.SolveVecTo(&x[i], across[i]) != nil {
			return 0, 0
		}
	}
	a := size - mat.Dot(across[0], &x[0])
	b := -mat.Dot(across[0], &x[1])
	c := size - mat.Dot(across[1], &x[1])
	det := a*c - b*b
	if !(a > 1e-4*size && c > 1e-4*size && det > 1e-8*size*size) {
		return 0, 0
	}
	re, im := real(match), imag(match)
	gr, gi := (c*re-b*im)/det, (a*im-b*re)/det
	return gr*re + gi*im, complex(gr, gi)
}
