package receiver

import "rooftone/dsp/vsb"

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

// fold puts into dst what two real filters make of x, all of it transforms: the first
// filter's output as the real part, the second's as the imaginary part. there and back
// are what pair makes of the two.
func fold(dst, x, there, back []complex64) {
	if foldFours(dst, x, there, back) {
		foldPlain(dst, x, there, back, 4)
		return
	}
	foldPlain(dst, x, there, back, len(x))
}

// foldPlain does so for the first count bins. dst must not be x.
func foldPlain(dst, x, there, back []complex64, count int) {
	mask := len(x) - 1
	for k := range count {
		v := x[-k&mask]
		a, b := turnedBy(x[k], there[k]), turnedBy(complex(real(v), -imag(v)), back[k])
		dst[k] = complex(real(a)+real(b), imag(a)+imag(b))
	}
}

// pair makes of two filters what fold takes.
func pair(there, back, first, second []complex64) {
	mask := len(first) - 1
	for k, a := range first {
		b := second[k]
		there[k] = complex((real(a)-imag(b))/2, (imag(a)+real(b))/2)
		a, b = first[-k&mask], second[-k&mask]
		back[k] = complex((real(a)+imag(b))/2, (real(b)-imag(a))/2)
	}
}

// blending is how two sequences are blended into one that stays within limits.
type blending struct{ x, y, more, low, high float32 }

// blend puts x·by.x + y·by.y + by.more into dst.
func blend(dst, x, y []float32, by blending) {
	n := blendFours(dst, x, y, by)
	blendPlain(dst[n:], x[n:], y[n:], by)
}

func blendPlain(dst, x, y []float32, by blending) {
	for i := range dst {
		v := float32(x[i]*by.x) + float32(y[i]*by.y) + by.more
		if !(v > by.low) { // or is no number
			v = by.low
		}
		if v > by.high {
			v = by.high
		}
		dst[i] = v
	}
}

// mix puts levels, without the pilot, and first times the real parts and second times
// the imaginary parts of made into dst.
func mix(dst, levels []float32, made []complex64, first, second float32) {
	n := mixFours(dst, levels, made, first, second)
	mixPlain(dst[n:], levels[n:], made[n:], first, second)
}

func mixPlain(dst, levels []float32, made []complex64, first, second float32) {
	for i := range dst {
		dst[i] = levels[i] - vsb.PilotLevel + (float32(real(made[i])*first) + float32(imag(made[i])*second))
	}
}
