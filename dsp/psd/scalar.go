package psd

import (
	"math"
	"math/bits"
)

// scalar is the transform in plain Go: radix 4, decimation in time.
type scalar struct {
	n      int
	source []int32 // source[i] is the sample that the first pass wants in place i
	passes []pass
}

func newScalar(n int) *scalar {
	return &scalar{n: n, source: digitReversal(n), passes: makePasses(n)}
}

// digitReversal returns the order in which decimation in time by four reads
// its input, and in which decimation in frequency leaves its output: of 4t+r,
// r counts in the greatest steps.
func digitReversal(n int) []int32 {
	order := make([]int32, n)
	first := firstRadix(n)
	for i := range order[:first] {
		order[i] = int32(i)
	}
	for m := first; m < n; m *= 4 {
		// Downwards, so that the quarter still to be read is written last.
		for r := 3; r >= 0; r-- {
			for i := range m {
				order[r*m+i] = 4*order[i] + int32(r)
			}
		}
	}
	return order
}

// firstRadix is the length, 1 or 2, from which radix-4 passes reach n.
func firstRadix(n int) int {
	if bits.TrailingZeros(uint(n))%2 == 1 {
		return 2
	}
	return 1
}

// pass is one radix-4 pass: groups of 4·quarter values become transforms of
// that length out of four of length quarter, or the other way about.
type pass struct {
	quarter int
	// twiddle holds, for each j < quarter, e^{−j2πrj/(4·quarter)} for r = 1, 2, 3.
	twiddle []complex64
}

// makePasses makes the passes of a transform of n, the shortest first.
func makePasses(n int) []pass {
	var passes []pass
	for q := firstRadix(n); q < n; q *= 4 {
		p := pass{quarter: q, twiddle: make([]complex64, 3*q)}
		for j := range q {
			for r := 1; r <= 3; r++ {
				p.twiddle[3*j+r-1] = complex64(unit(-r*j, 4*q))
			}
		}
		passes = append(passes, p)
	}
	return passes
}

// unit is e^{j2πk/n}.
func unit(k, n int) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * float64(k%n) / float64(n))
	return complex(cos, sin)
}

func (s *scalar) transform(dst, src []complex64, inverse bool) {
	for i, from := range s.source {
		dst[i] = src[from]
	}
	if inverse {
		swapParts(dst)
	}
	if firstRadix(s.n) == 2 {
		for i := 0; i+1 < s.n; i += 2 {
			dst[i], dst[i+1] = dst[i]+dst[i+1], dst[i]-dst[i+1]
		}
	}
	for _, p := range s.passes {
		p.run(dst)
	}
	if inverse {
		swapParts(dst)
	}
}

// swapParts exchanges real and imaginary parts: done before and after, it
// makes the inverse of a transform.
func swapParts(x []complex64) {
	for i, v := range x {
		x[i] = complex(imag(v), real(v))
	}
}

func (p pass) run(x []complex64) {
	q := p.quarter
	for len(x) >= 4*q {
		a, b, c, d := x[:q], x[q:2*q], x[2*q:3*q], x[3*q:4*q]
		x = x[4*q:]
		w := p.twiddle
		for j := range a {
			w1, w2, w3 := w[3*j], w[3*j+1], w[3*j+2]
			b1, c1, d1 := b[j]*w1, c[j]*w2, d[j]*w3
			even, odd := a[j]+c1, a[j]-c1
			sum, dif := b1+d1, b1-d1
			turned := complex(imag(dif), -real(dif)) // −j·dif
			a[j], b[j], c[j], d[j] = even+sum, odd+turned, even-sum, odd-turned
		}
	}
}
