//go:build !amd64 && !arm64

package psd

// Without kernels for this processor the plain code in scalar.go does the
// work; the types below are never used.

func haveLanes() bool { return false }

func dot8(x *complex64, taps *float32, count int) complex64 { return 0 }

func alignedFloats(n int) []float32 { return make([]float32, n) }

type vertical struct{}

func newVertical(n int) *vertical { return nil }

func (v *vertical) power(sums []float32, src []complex64, hop int, window []float32) {}

type joined struct{}

func newJoined(n int) *joined { return nil }

func (j *joined) transform(dst, src []complex64, inverse bool) {}
