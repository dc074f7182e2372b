package receiver

// What is done to one sample after the other. Products are rounded before they are
// added, so that the plain code gives the same on all processors as the kernels do.

// multiply multiplies x by y into dst, which may be x.
func multiply(dst, x, y []complex64) {
	dst, y = dst[:len(x)], y[:len(x)]
	n := multiplyFours(dst, x, y)
	multiplyPlain(dst[n:], x[n:], y[n:])
}

func multiplyPlain(dst, x, y []complex64) {
	for i, a := range x {
		dst[i] = turnedBy(a, y[i])
	}
}

func turnedBy(a, b complex64) complex64 {
	return complex(
		float32(real(a)*real(b))-float32(imag(a)*imag(b)),
		float32(imag(a)*real(b))+float32(real(a)*imag(b)))
}

// widen makes complex numbers of real ones.
func widen(dst []complex64, x []float32) {
	dst = dst[:len(x)]
	for i := widenFours(dst, x); i < len(x); i++ {
		dst[i] = complex(x[i], 0)
	}
}

// subtractPlain puts into errors what was received, each run of runSymbols turned by
// its phase, less what the channel made, which is still to be divided by blockSize.
// For each run, lean gets how far that leans to the side of what was made, and
// strength the square of that.
func subtractPlain(errors, received, made, turns []complex64, lean, strength []float32) {
	const scale = 1. / blockSize
	for n := range lean {
		t := turns[n]
		var along, across, re, im [4]float32
		for i := n * runSymbols; i < (n+1)*runSymbols; i++ {
			pr, pi := real(made[i])*scale, imag(made[i])*scale
			r := turnedBy(received[i], t)
			er, ei := real(r)-pr, imag(r)-pi
			errors[i] = complex(er, ei)
			along[i&3] += float32(pr * ei)
			across[i&3] += float32(pi * er)
			re[i&3] += float32(pr * pr)
			im[i&3] += float32(pi * pi)
		}
		for i := range along {
			along[i] -= across[i]
			re[i] += im[i]
		}
		lean[n] = (along[0] + along[1]) + (along[2] + along[3])
		strength[n] = (re[0] + re[1]) + (re[2] + re[3])
	}
}
