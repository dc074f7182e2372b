package psd

// haveLanes says whether this processor can run the kernels: every arm64 has NEON.
func haveLanes() bool { return true }
