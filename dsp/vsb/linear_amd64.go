package vsb

import "gonum.org/v1/gonum/blas/cblas128"

// dot returns Σ x·y.
func dot(x, y []complex128) complex128 {
	return cblas128.Dotu(
		cblas128.Vector{N: len(x), Data: x, Inc: 1},
		cblas128.Vector{N: len(x), Data: y, Inc: 1})
}

// inner returns Σ conj(x)·y.
func inner(x, y []complex128) complex128 {
	return cblas128.Dotc(
		cblas128.Vector{N: len(x), Data: x, Inc: 1},
		cblas128.Vector{N: len(x), Data: y, Inc: 1})
}

// addScaled adds k·x to y.
func addScaled(y []complex128, k complex128, x []complex128) {
	cblas128.Axpy(k,
		cblas128.Vector{N: len(x), Data: x, Inc: 1},
		cblas128.Vector{N: len(x), Data: y, Inc: 1})
}
