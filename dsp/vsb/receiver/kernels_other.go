//go:build !amd64

package receiver

func dot(a, taps []float32) float32 { return dotPlain(a, taps) }

func convolve(dst *[farSymbols]float32, a, taps []float32) { convolvePlain(dst, a, taps) }
