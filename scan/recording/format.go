package recording

import (
	"encoding/binary"
	"math"
	"slices"

	"rooftone/scan/tuner"
)

// A format turns the bytes of interleaved I and Q values into samples.
type format struct {
	name  string // in SigMF's words
	width int    // bytes in one of I and Q
	swap  bool   // big-endian
	float bool   // floating point: full scale is not told by the format

	// convert fills dst from little-endian src, which holds len(dst) samples.
	// It returns how many lie on a rail, and the place of the first value that
	// no healthy recording holds, or −1.
	convert func(dst []complex64, src []byte) (clipped, bad int)
}

// size returns the bytes that one sample takes.
func (f format) size() int64 { return 2 * int64(f.width) }

// decode converts src, which it may change, to len(dst) samples.
func (f format) decode(dst []complex64, src []byte) (clipped, bad int) {
	if f.swap {
		swapBytes(src, f.width)
	}
	return f.convert(dst, src)
}

// parseFormat finds the format that a word names.
func parseFormat(word string) (format, error) {
	name, width, swap := splitFormat(word)
	f := format{name: name, width: width, swap: swap}
	switch name {
	case "":
		return format{}, unknownFormat(word)
	case "cu8":
		f.convert = convertU8()
	case "ci8":
		f.convert = convertI8()
	case "cu16":
		f.convert = convertU16
	case "ci16":
		f.convert = convertI16
	case "cu32":
		f.convert = convertU32
	case "ci32":
		f.convert = convertI32
	case "cf32":
		f = f.scaled(1, math.Inf(-1), math.Inf(1))
		f.float = true
	case "cf64":
		f = f.scaled(1, math.Inf(-1), math.Inf(1))
		f.float = true
	}
	if f.width > 1 {
		f.name += "_le"
		if swap {
			f.name = name + "_be"
		}
	}
	return f, nil
}

func swapBytes(b []byte, width int) {
	for ; len(b) >= width; b = b[width:] {
		slices.Reverse(b[:width])
	}
}

const (
	ones  = 0x0101010101010101
	highs = 0x8080808080808080
)

// hasZeroByte returns non-zero when one of the eight bytes of w is zero.
func hasZeroByte(w uint64) uint64 { return (w - ones) & ^w & highs }

// convertU8 returns the conversion of cu8, value for value that of
// tuner.FromByte.
func convertU8() func([]complex64, []byte) (int, int) {
	var table [256]float32
	for v := range table {
		table[v] = tuner.FromByte(byte(v))
	}
	return convertBytes(&table, 0)
}

// convertI8 returns the conversion of ci8: −128…127 to −1…127/128.
func convertI8() func([]complex64, []byte) (int, int) {
	var table [256]float32
	for v := range table {
		table[v] = float32(int8(v)) / 128
	}
	return convertBytes(&table, highs)
}

// convertBytes returns the conversion of bytes by a table. XOR with flip takes
// the format's rails to 0 and 255.
func convertBytes(table *[256]float32, flip uint64) func([]complex64, []byte) (int, int) {
	return func(dst []complex64, src []byte) (clipped, bad int) {
		return lookUp(dst, src, table, flip), -1
	}
}

// lookUp stands by itself because the compiler inlines little into closures.
func lookUp(dst []complex64, src []byte, table *[256]float32, flip uint64) (clipped int) {
	for len(dst) >= 4 && len(src) >= 8 {
		w := binary.LittleEndian.Uint64(src)
		d := dst[:4:4]
		d[0] = complex(table[byte(w)], table[byte(w>>8)])
		d[1] = complex(table[byte(w>>16)], table[byte(w>>24)])
		d[2] = complex(table[byte(w>>32)], table[byte(w>>40)])
		d[3] = complex(table[byte(w>>48)], table[byte(w>>56)])
		// Rails are rare, so four samples are asked at once.
		if v := w ^ flip; hasZeroByte(v)|hasZeroByte(^v) != 0 {
			clipped += railBytes(v)
		}
		dst, src = dst[4:], src[8:]
	}
	for i := range dst {
		a, b := src[2*i], src[2*i+1]
		dst[i] = complex(table[a], table[b])
		a, b = a^byte(flip), b^byte(flip)
		if a-1 >= 254 || b-1 >= 254 { // 0−1 wraps to 255
			clipped++
		}
	}
	return clipped
}

// railBytes counts the samples among the four in w that have a byte of 0 or 255.
func railBytes(w uint64) (n int) {
	for range 4 {
		if byte(w)-1 >= 254 || byte(w>>8)-1 >= 254 {
			n++
		}
		w >>= 16
	}
	return n
}

func convertI16(dst []complex64, src []byte) (clipped, bad int) {
	for i := range dst {
		w := binary.LittleEndian.Uint32(src[4*i:])
		a, b := int16(w), int16(w>>16)
		dst[i] = complex(float32(a)/(1<<15), float32(b)/(1<<15))
		// Both rails, 7fff and 8000, land on 0 and 1.
		if uint16(a)+0x8001 <= 1 || uint16(b)+0x8001 <= 1 {
			clipped++
		}
	}
	return clipped, -1
}

// convertU16 puts the middle between 32767 and 32768, as cu8 does between 127
// and 128.
func convertU16(dst []complex64, src []byte) (clipped, bad int) {
	for i := range dst {
		w := binary.LittleEndian.Uint32(src[4*i:])
		a, b := uint16(w), uint16(w>>16)
		dst[i] = complex((float32(a)-32767.5)/32767.5, (float32(b)-32767.5)/32767.5)
		if a+1 <= 1 || b+1 <= 1 { // 65535+1 wraps to 0
			clipped++
		}
	}
	return clipped, -1
}

// convertI24 is WAV's: SigMF has no 24-bit format.
func convertI24(dst []complex64, src []byte) (clipped, bad int) {
	for i := range dst {
		b := src[6*i : 6*i+6]
		// In the upper three bytes, so that the sign comes by itself.
		re := int32(uint32(b[0])<<8 | uint32(b[1])<<16 | uint32(b[2])<<24)
		im := int32(uint32(b[3])<<8 | uint32(b[4])<<16 | uint32(b[5])<<24)
		dst[i] = complex(float32(re)/(1<<31), float32(im)/(1<<31))
		if railI32(re, 0x7fffff00) || railI32(im, 0x7fffff00) {
			clipped++
		}
	}
	return clipped, -1
}

func railI32(v, top int32) bool { return v == top || v == math.MinInt32 }

func convertI32(dst []complex64, src []byte) (clipped, bad int) {
	for i := range dst {
		w := binary.LittleEndian.Uint64(src[8*i:])
		a, b := int32(w), int32(w>>32)
		dst[i] = complex(float32(a)/(1<<31), float32(b)/(1<<31))
		if railI32(a, math.MaxInt32) || railI32(b, math.MaxInt32) {
			clipped++
		}
	}
	return clipped, -1
}

func convertU32(dst []complex64, src []byte) (clipped, bad int) {
	const middle = math.MaxUint32 / 2.0
	for i := range dst {
		w := binary.LittleEndian.Uint64(src[8*i:])
		a, b := uint32(w), uint32(w>>32)
		dst[i] = complex(float32((float64(a)-middle)/middle), float32((float64(b)-middle)/middle))
		if a+1 <= 1 || b+1 <= 1 {
			clipped++
		}
	}
	return clipped, -1
}

// short cuts a string from a file down to what an error line can bear.
func short(s string) string {
	if len(s) > 40 {
		return s[:40] + "…"
	}
	return s
}
