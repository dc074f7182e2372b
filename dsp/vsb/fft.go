package vsb

import (
	"math"
	"math/bits"
)

// fft is a forward discrete Fourier transform of a power-of-two length,
// X[k] = Σ x[n]·exp(−2πi·kn/N).
type fft struct {
	n       int
	twiddle []complex64 // exp(−2πi·k/N), k < N/2
}

func newFFT(n int) *fft {
	f := &fft{n: n, twiddle: make([]complex64, n/2)}
	for k := range f.twiddle {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		f.twiddle[k] = complex(float32(c), float32(s))
	}
	return f
}

// transform replaces x, of length n, by its transform.
func (f *fft) transform(x []complex64) {
	shift := 64 - bits.Len(uint(f.n-1))
	for i := range x {
		if j := int(bits.Reverse64(uint64(i)) >> shift); j > i {
			x[i], x[j] = x[j], x[i]
		}
	}
	for half, stride := 1, f.n/2; half < f.n; half, stride = 2*half, stride/2 {
		for at := 0; at < f.n; at += 2 * half {
			for k := range half {
				a, b := x[at+k], x[at+half+k]*f.twiddle[k*stride]
				x[at+k], x[at+half+k] = a+b, a-b
			}
		}
	}
}
