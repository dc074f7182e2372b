package psd

import "golang.org/x/sys/cpu"

// haveLanes says whether this processor can run the kernels.
func haveLanes() bool { return cpu.X86.HasAVX2 && cpu.X86.HasFMA }
