package vsb

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTriangle(t *testing.T) {
	// Truth: the definitions.
	rng := rand.New(rand.NewPCG(1, 2))
	number := func() complex128 { return complex(rng.NormFloat64(), rng.NormFloat64()) }
	for _, n := range []int{1, 2, 7, 40} {
		// A Hermitian matrix BBᴴ + 0.1·I.
		b := make([]complex128, n*n)
		for i := range b {
			b[i] = number()
		}
		l := newTriangle(n)
		for i := range n {
			for j := range n {
				l.a[i*n+j] = product(b[i*n:(i+1)*n], b[j*n:(j+1)*n])
			}
			l.a[i*n+i] += 0.1
		}
		full := append([]complex128(nil), l.a...)
		require.NoError(t, l.factor())
		for i := range n {
			for j := range i + 1 {
				require.InDelta(t, 0, norm2([]complex128{product(l.row(i)[:j+1], l.row(j)) - full[i*n+j]}), 1e-18*float64(n*n))
			}
		}
		// L⁻ᴴL⁻¹ is the inverse; the trace is that of its columns.
		var trace float64
		for k := range n {
			x := make([]complex128, n)
			x[k] = 1
			l.solve(x)
			l.solveAdjoint(x)
			trace += real(x[k])
			for i := range n {
				var sum complex128
				for j := range n {
					sum += full[i*n+j] * x[j]
				}
				if i == k {
					sum--
				}
				require.InDelta(t, 0, norm2([]complex128{sum}), 1e-16)
			}
		}
		require.InEpsilon(t, trace, l.inverseTrace(make([]complex128, n)), 1e-9)
	}
	l := newTriangle(2)
	copy(l.a, []complex128{1, 0, 2, 1})
	require.ErrorIs(t, l.factor(), errNotPositive)
}
