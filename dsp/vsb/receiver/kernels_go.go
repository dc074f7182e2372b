package receiver

// addNear returns the sum of a[i]·taps[i].
func dotPlain(a, taps []float32) float32 {
	a = a[:len(taps)]
	var s0, s1, s2, s3 float32
	for i := 0; i+4 <= len(taps); i += 4 {
		s0 += a[i] * taps[i]
		s1 += a[i+1] * taps[i+1]
		s2 += a[i+2] * taps[i+2]
		s3 += a[i+3] * taps[i+3]
	}
	return s0 + s1 + s2 + s3
}

// convolvePlain sets dst[i] to the sum over t of a[i+t]·taps[t].
func convolvePlain(dst *[farSymbols]float32, a, taps []float32) {
	clear(dst[:])
	for t, v := range taps {
		x := a[t : t+farSymbols]
		for i := range dst {
			dst[i] += v * x[i]
		}
	}
}
