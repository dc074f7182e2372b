package receiver

import "golang.org/x/sys/cpu"

// haveKernels says whether this processor can run the kernels.
func haveKernels() bool { return cpu.X86.HasAVX2 && cpu.X86.HasFMA }

//go:noescape
func readLanes(dst, x *complex64, table *interpolator, position, advance int64, count int)

func (p *interpolator) readAt(dst, x []complex64, position, advance int64) {
	if !haveKernels() {
		p.readPlain(dst, x, position, advance)
		return
	}
	readLanes(&dst[0], &x[0], p, position-tapsBefore<<32, advance, len(dst))
}
