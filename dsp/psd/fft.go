package psd

import "fmt"

const (
	// maxFFT is the longest transform a plan is made for.
	maxFFT = 1 << 24

	// minJoined is the shortest transform that is divided among lanes.
	minJoined = 64

	// lanes is how many transforms the kernels do side by side.
	lanes = 8
)

// FFT is a plan for the discrete Fourier transform of one length. It holds
// working memory: use it from one goroutine at a time.
//
// Where the processor has AVX2 and FMA, or NEON, transforms from 64 up are done by
// kernels for these, which give the same to the last bit. The plain code agrees
// with them to about 2e−7 of the result's root mean square.
type FFT struct {
	n      int
	work   []complex64 // for a transform in place
	joined *joined     // nil when the plain code does it
	plain  *scalar
}

// NewFFT makes a plan for length n, a power of two from 2 to 2^24.
func NewFFT(n int) (*FFT, error) { return newFFT(n, haveLanes()) }

// newFFT lets the tests choose the code.
func newFFT(n int, kernels bool) (*FFT, error) {
	if n < 2 || n > maxFFT || n&(n-1) != 0 {
		return nil, fmt.Errorf("making a transform of length %d: must be a power of two from 2 to %d", n, maxFFT)
	}
	f := &FFT{n: n}
	if kernels && n >= minJoined {
		f.joined = newJoined(n)
		return f, nil
	}
	f.work = make([]complex64, n)
	f.plain = newScalar(n)
	return f, nil
}

// Len is the length of the transform.
func (f *FFT) Len() int { return f.n }

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
	if f.joined != nil {
		// All of src is read before any of dst is written.
		f.joined.transform(dst, src, inverse)
		return
	}
	if &dst[0] == &src[0] {
		src = f.work[:copy(f.work, src)]
	}
	f.plain.transform(dst, src, inverse)
}
