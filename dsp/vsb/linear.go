package vsb

import (
	"errors"
	"math"
)

// Small complex linear algebra, on rows stored one after the other.

// The three below are done by kernels where there are any. Their sums go in the
// kernels' order and nothing is fused, so that all processors give the same.

// dotPlain returns Σ x·y, of each four the first and third, the second and fourth
// for themselves.
func dotPlain(x, y []complex128) complex128 {
	fours := len(x) &^ 3
	a, b := foursPlain(x[:fours], y[:fours], 1)
	return restPlain(a+b, x[fours:], y[fours:], 1)
}

// innerPlain returns Σ conj(x)·y, likewise.
func innerPlain(x, y []complex128) complex128 {
	fours := len(x) &^ 3
	a, b := foursPlain(x[:fours], y[:fours], -1)
	return restPlain(a+b, x[fours:], y[fours:], -1)
}

// foursPlain returns the sums of products in even and in odd places. The imaginary
// parts of x are multiplied by sign.
func foursPlain(x, y []complex128, sign float64) (even, odd complex128) {
	for i := 0; i+1 < len(x); i += 2 {
		even += times(x[i], y[i], sign)
		odd += times(x[i+1], y[i+1], sign)
	}
	return even, odd
}

// restPlain adds to a sum what fours leave.
func restPlain(sum complex128, x, y []complex128, sign float64) complex128 {
	for i, v := range x {
		sum += times(v, y[i], sign)
	}
	return sum
}

func times(x, y complex128, sign float64) complex128 {
	xi := sign * imag(x)
	return complex(
		float64(real(x)*real(y))-float64(xi*imag(y)),
		float64(real(x)*imag(y))+float64(xi*real(y)))
}

// addScaledPlain adds k·x to y.
func addScaledPlain(y []complex128, k complex128, x []complex128) {
	if k == 0 {
		return
	}
	for i, v := range x {
		y[i] += times(v, k, 1)
	}
}

func norm2(x []complex128) float64 {
	var sum float64
	for _, v := range x {
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	return sum
}

// triangle is a lower triangular matrix of n rows of n with a real positive
// diagonal. What is above the diagonal is left alone.
type triangle struct {
	n int
	a []complex128
}

func newTriangle(n int) triangle { return triangle{n, make([]complex128, n*n)} }

func (t triangle) row(i int) []complex128 { return t.a[i*t.n : i*t.n+i+1] }

// errNotPositive says that a covariance is none.
var errNotPositive = errors.New("the covariance of noise and unknown symbols is not positive definite")

// factor overwrites a positive definite Hermitian matrix, of which only the
// lower triangle counts, by its Cholesky factor: L·Lᴴ.
func (t triangle) factor() error {
	for i := range t.n {
		ri := t.row(i)
		for j := range i {
			rj := t.row(j)
			ri[j] = (ri[j] - inner(rj[:j], ri[:j])) * complex(1/real(rj[j]), 0)
		}
		d := real(ri[i]) - norm2(ri[:i])
		if !(d > 0) {
			return errNotPositive
		}
		ri[i] = complex(math.Sqrt(d), 0)
	}
	return nil
}

// solve overwrites x by L⁻¹·x.
func (t triangle) solve(x []complex128) {
	for i := range t.n {
		r := t.row(i)
		x[i] = (x[i] - dot(r[:i], x[:i])) * complex(1/real(r[i]), 0)
	}
}

// solveAdjoint overwrites x by L⁻ᴴ·x.
func (t triangle) solveAdjoint(x []complex128) {
	// The conjugate of the system has Lᵀ, whose columns are L's rows.
	conjugate(x)
	for i := t.n - 1; i >= 0; i-- {
		r := t.row(i)
		x[i] *= complex(1/real(r[i]), 0)
		addScaled(x[:i], -x[i], r[:i])
	}
	conjugate(x)
}

func conjugate(x []complex128) {
	for i, v := range x {
		x[i] = complex(real(v), -imag(v))
	}
}

// inverseTrace returns the trace of (L·Lᴴ)⁻¹, which is the sum of the squares
// of L⁻¹. work holds n.
func (t triangle) inverseTrace(work []complex128) float64 {
	var sum float64
	for j := range t.n {
		x := work[:t.n]
		x[j] = complex(1/real(t.row(j)[j]), 0)
		for i := j + 1; i < t.n; i++ {
			r := t.row(i)
			x[i] = -dot(r[j:i], x[j:i]) * complex(1/real(r[i]), 0)
		}
		sum += norm2(x[j:])
	}
	return sum
}
