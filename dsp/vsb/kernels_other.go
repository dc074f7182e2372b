//go:build !arm64

package vsb

func multiplyConjFours(dst, x, y []complex64) int { return 0 }

func scaleByFours(dst, x []complex64, weights []float32) int { return 0 }

func scoreFours(odd, even, local []float32, a, m []complex64, scale float32) int { return 0 }
