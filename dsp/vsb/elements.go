package vsb

// What the search does to one sample after the other. Products are rounded before they
// are added, so that the plain code gives the same on all processors as the kernels do.

// multiplyConj multiplies x by the conjugates of y into dst, which may be x.
func multiplyConj(dst, x, y []complex64) {
	dst, y = dst[:len(x)], y[:len(x)]
	n := multiplyConjFours(dst, x, y)
	multiplyConjPlain(dst[n:], x[n:], y[n:])
}

func multiplyConjPlain(dst, x, y []complex64) {
	for i, v := range x {
		r := y[i]
		dst[i] = complex(
			float32(real(v)*real(r))+float32(imag(v)*imag(r)),
			float32(imag(v)*real(r))-float32(real(v)*imag(r)))
	}
}

// scaleBy multiplies x by weights into dst, which may be x.
func scaleBy(dst, x []complex64, weights []float32) {
	dst, weights = dst[:len(x)], weights[:len(x)]
	n := scaleByFours(dst, x, weights)
	scaleByPlain(dst[n:], x[n:], weights[n:])
}

func scaleByPlain(dst, x []complex64, weights []float32) {
	for i, v := range x {
		w := weights[i]
		dst[i] = complex(real(v)*w, imag(v)*w)
	}
}

// scores fills odd with the powers of a+m and even with those of a−m, times scale over
// local.
func scores(odd, even, local []float32, a, m []complex64, scale float32) {
	even, local, a, m = even[:len(odd)], local[:len(odd)], a[:len(odd)], m[:len(odd)]
	n := scoreFours(odd, even, local, a, m, scale)
	scoresPlain(odd[n:], even[n:], local[n:], a[n:], m[n:], scale)
}

func scoresPlain(odd, even, local []float32, a, m []complex64, scale float32) {
	for i := range odd {
		k := scale / local[i]
		re, im := real(a[i])+real(m[i]), imag(a[i])+imag(m[i])
		odd[i] = (float32(re*re) + float32(im*im)) * k
		re, im = real(a[i])-real(m[i]), imag(a[i])-imag(m[i])
		even[i] = (float32(re*re) + float32(im*im)) * k
	}
}
