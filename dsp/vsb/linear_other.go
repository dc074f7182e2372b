//go:build !amd64 && !arm64

package vsb

// dot returns Σ x·y.
func dot(x, y []complex128) complex128 { return dotPlain(x, y) }

// inner returns Σ conj(x)·y.
func inner(x, y []complex128) complex128 { return innerPlain(x, y) }

// addScaled adds k·x to y.
func addScaled(y []complex128, k complex128, x []complex128) { addScaledPlain(y, k, x) }
