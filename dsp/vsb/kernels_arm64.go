package vsb

// Every arm64 has NEON.

//go:noescape
func dotLanes(x, y *complex128, fours int) complex128

//go:noescape
func innerLanes(x, y *complex128, fours int) complex128

//go:noescape
func addScaledLanes(y, x *complex128, re, im float64, twos int)

//go:noescape
func multiplyConjLanes(dst, x, y *complex64, fours int)

//go:noescape
func scaleByLanes(dst, x *complex64, weights *float32, fours int)

//go:noescape
func scoreLanes(odd, even, local *float32, a, m *complex64, scale float32, fours int)

// dot returns Σ x·y.
func dot(x, y []complex128) complex128 {
	y = y[:len(x)]
	n := len(x) &^ 3
	var sum complex128
	if n > 0 {
		sum = dotLanes(&x[0], &y[0], n/4)
	}
	return restPlain(sum, x[n:], y[n:], 1)
}

// inner returns Σ conj(x)·y.
func inner(x, y []complex128) complex128 {
	y = y[:len(x)]
	n := len(x) &^ 3
	var sum complex128
	if n > 0 {
		sum = innerLanes(&x[0], &y[0], n/4)
	}
	return restPlain(sum, x[n:], y[n:], -1)
}

// addScaled adds k·x to y.
func addScaled(y []complex128, k complex128, x []complex128) {
	y = y[:len(x)]
	n := len(x) &^ 1
	if n > 0 && k != 0 {
		addScaledLanes(&y[0], &x[0], real(k), imag(k), n/2)
	}
	addScaledPlain(y[n:], k, x[n:])
}

// multiplyConjFours multiplies as many as the kernel can and returns how many that are.
func multiplyConjFours(dst, x, y []complex64) int {
	fours := len(x) / 4
	if fours > 0 {
		multiplyConjLanes(&dst[0], &x[0], &y[0], fours)
	}
	return 4 * fours
}

// scaleByFours scales as many as the kernel can and returns how many that are.
func scaleByFours(dst, x []complex64, weights []float32) int {
	fours := len(x) / 4
	if fours > 0 {
		scaleByLanes(&dst[0], &x[0], &weights[0], fours)
	}
	return 4 * fours
}

// scoreFours fills as many as the kernel can and returns how many that are.
func scoreFours(odd, even, local []float32, a, m []complex64, scale float32) int {
	fours := len(odd) / 4
	if fours > 0 {
		scoreLanes(&odd[0], &even[0], &local[0], &a[0], &m[0], scale, fours)
	}
	return 4 * fours
}
