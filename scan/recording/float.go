package recording

import (
	"encoding/binary"
	"math"
)

// limitFS is how far beyond full scale a floating-point sample may lie before
// the recording is taken for damaged.
const limitFS = 1 << 16

// values hands each I and Q among the bytes of a format in floating point to a
// function. The bytes may be changed.
func (f format) values(src []byte, take func(float64)) {
	if f.swap {
		swapBytes(src, f.width)
	}
	for ; len(src) >= f.width; src = src[f.width:] {
		if f.width == 4 {
			take(float64(math.Float32frombits(binary.LittleEndian.Uint32(src))))
		} else {
			take(math.Float64frombits(binary.LittleEndian.Uint64(src)))
		}
	}
}

// scaled returns the format in floating point with another full scale, and
// with the values from which on a sample counts as clipped; infinite ones are
// never reached.
func (f format) scaled(full, low, high float64) format {
	if f.width == 4 {
		f.convert = convertF32(full, low, high)
	} else {
		f.convert = convertF64(full, low, high)
	}
	return f
}

// convertF32 returns the conversion of cf32 from values with a full scale and
// rails of their own.
func convertF32(full, low, high float64) func([]complex64, []byte) (int, int) {
	// Without rails, what is not sane has still to be found.
	lowest, highest := float32(max(low, -limitFS*full)), float32(min(high, limitFS*full))
	by := float32(1 / full)
	return func(dst []complex64, src []byte) (clipped, bad int) {
		for i := range dst {
			w := binary.LittleEndian.Uint64(src[8*i:])
			a, b := math.Float32frombits(uint32(w)), math.Float32frombits(uint32(w>>32))
			dst[i] = complex(a*by, b*by)
			if !(a > lowest && a < highest && b > lowest && b < highest) {
				if !sane(dst[i]) {
					return clipped, i
				}
				if beyond(float64(a), low, high) || beyond(float64(b), low, high) {
					clipped++
				}
			}
		}
		return clipped, -1
	}
}

// convertF64 is the same of cf64.
func convertF64(full, low, high float64) func([]complex64, []byte) (int, int) {
	lowest, highest := max(low, -limitFS*full), min(high, limitFS*full)
	by := 1 / full
	return func(dst []complex64, src []byte) (clipped, bad int) {
		for i := range dst {
			a := math.Float64frombits(binary.LittleEndian.Uint64(src[16*i:]))
			b := math.Float64frombits(binary.LittleEndian.Uint64(src[16*i+8:]))
			dst[i] = complex(float32(a*by), float32(b*by))
			if !(a > lowest && a < highest && b > lowest && b < highest) {
				if !sane(dst[i]) {
					return clipped, i
				}
				if beyond(a, low, high) || beyond(b, low, high) {
					clipped++
				}
			}
		}
		return clipped, -1
	}
}

func beyond(v, low, high float64) bool { return v <= low || v >= high }

// sane tells whether a healthy recording can hold z: NaN, infinity and what
// lies far beyond full scale are not.
func sane(z complex64) bool {
	re, im := real(z), imag(z)
	return re >= -limitFS && re <= limitFS && im >= -limitFS && im <= limitFS
}
