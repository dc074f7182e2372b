package receiver

import "golang.org/x/sys/cpu"

// haveKernels says whether this processor can run the kernels.
var haveKernels = cpu.X86.HasAVX2 && cpu.X86.HasFMA

//go:noescape
func dotLanes(a, taps *float32, count int) float32

//go:noescape
func convolveLanes(dst, a, taps *float32, count int)

// dot returns the sum of a[i]·taps[i]. The number of taps is a multiple of 8.
func dot(a, taps []float32) float32 {
	if !haveKernels {
		return dotPlain(a, taps)
	}
	_ = a[len(taps)-1]
	return dotLanes(&a[0], &taps[0], len(taps))
}

// convolve sets dst[i] to the sum over t of a[i+t]·taps[t].
func convolve(dst *[farSymbols]float32, a, taps []float32) {
	if !haveKernels {
		convolvePlain(dst, a, taps)
		return
	}
	_ = a[len(taps)+farSymbols-2]
	convolveLanes(&dst[0], &a[0], &taps[0], len(taps))
}
