package psd

import (
	"fmt"
	"math"
	"math/bits"
)

// maxFFT is the longest transform a plan is made for.
const maxFFT = 1 << 24

// FFT is a plan for the discrete Fourier transform of one length. It holds
// working memory: use it from one goroutine at a time.
type FFT struct {
	n      int
	source []int32 // source[i] is the sample that the first pass wants in place i
	passes []pass
	work   []complex64
}

// pass is one radix-4 pass: groups of 4·quarter values become transforms of
// that length out of four of length quarter.
type pass struct {
	quarter int
	// twiddle holds, for each j < quarter, e^{−j2πrj/(4·quarter)} for r = 1, 2, 3.
	twiddle []complex64
}

// NewFFT makes a plan for length n, a power of two from 2 to 2^24.
func NewFFT(n int) (*FFT, error) {
	if n < 2 || n > maxFFT || n&(n-1) != 0 {
		return nil, fmt.Errorf("making a transform of length %d: must be a power of two from 2 to %d", n, maxFFT)
	}
	return &FFT{n: n, source: digitReversal(n), passes: makePasses(n), work: make([]complex64, n)}, nil
}

// Len is the length of the transform.
func (f *FFT) Len() int { return f.n }

// digitReversal returns the order in which decimation in time by four reads
// its input: of 4t+r, r counts in the greatest steps.
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
	k %= n
	sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
	return complex(cos, sin)
}

// Transform puts the discrete Fourier transform of src into dst,
//
//	dst[k] = Σ src[i] e^{−j2πik/n}, 0 ≤ i, k < n,
//
// without any scaling. Both must have at least the plan's length; what goes
// beyond is left alone. They may be the same memory but not overlap otherwise.
func (f *FFT) Transform(dst, src []complex64) error {
	if err := f.check(dst, src); err != nil {
		return err
	}
	f.transform(dst[:f.n], src[:f.n], false)
	return nil
}

// Inverse is Transform with e^{+j2πik/n}, likewise without scaling: after
// Transform and Inverse a sequence is n times what it was.
func (f *FFT) Inverse(dst, src []complex64) error {
	if err := f.check(dst, src); err != nil {
		return err
	}
	f.transform(dst[:f.n], src[:f.n], true)
	return nil
}

func (f *FFT) check(dst, src []complex64) error {
	if len(dst) < f.n || len(src) < f.n {
		return fmt.Errorf("transforming %d values into %d: the plan is for %d", len(src), len(dst), f.n)
	}
	return nil
}

func (f *FFT) transform(dst, src []complex64, inverse bool) {
	if &dst[0] == &src[0] {
		copy(f.work, src)
		src = f.work
	}
	if inverse {
		// The inverse is the transform with real and imaginary parts swapped
		// on the way in and on the way out.
		for i, s := range f.source {
			dst[i] = swapParts(src[s])
		}
	} else {
		for i, s := range f.source {
			dst[i] = src[s]
		}
	}
	if firstRadix(f.n) == 2 {
		for i := 0; i+1 < f.n; i += 2 {
			dst[i], dst[i+1] = dst[i]+dst[i+1], dst[i]-dst[i+1]
		}
	}
	for _, p := range f.passes {
		p.run(dst)
	}
	if inverse {
		for i, v := range dst {
			dst[i] = swapParts(v)
		}
	}
}

func swapParts(v complex64) complex64 { return complex(imag(v), real(v)) }

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
