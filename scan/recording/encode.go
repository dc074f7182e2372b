package recording

import (
	"encoding/binary"
	"math"

	"rooftone/scan/tuner"
)

// An encoder writes samples in one format.
type encoder struct {
	name string // SigMF's word
	size int    // bytes in a sample

	// encode fills dst, which has room for src.
	encode func(dst []byte, src []complex64)
}

// encoderFor returns the encoder for samples whose native format is the given
// one: the same where it is exact, else cf32_le, which holds every complex64.
func encoderFor(datatype string) encoder {
	switch datatype {
	case "cu8":
		return encoder{"cu8", 2, encodeU8}
	case "ci8":
		return encoder{"ci8", 2, encodeI8}
	case "ci16_le", "ci16_be", "ci16":
		return encoder{"ci16_le", 4, encodeI16}
	}
	return encoder{"cf32_le", 8, encodeF32}
}

func encodeU8(dst []byte, src []complex64) {
	for i, z := range src {
		dst[2*i], dst[2*i+1] = tuner.ToByte(real(z)), tuner.ToByte(imag(z))
	}
}

func encodeI8(dst []byte, src []complex64) {
	for i, z := range src {
		dst[2*i], dst[2*i+1] = byte(toInt(real(z), 1<<7)), byte(toInt(imag(z), 1<<7))
	}
}

func encodeI16(dst []byte, src []complex64) {
	for i, z := range src {
		binary.LittleEndian.PutUint16(dst[4*i:], uint16(toInt(real(z), 1<<15)))
		binary.LittleEndian.PutUint16(dst[4*i+2:], uint16(toInt(imag(z), 1<<15)))
	}
}

func encodeF32(dst []byte, src []complex64) {
	for i, z := range src {
		binary.LittleEndian.PutUint32(dst[8*i:], math.Float32bits(real(z)))
		binary.LittleEndian.PutUint32(dst[8*i+4:], math.Float32bits(imag(z)))
	}
}

// toInt returns the integer nearest to x·scale, limited to −scale…scale−1.
func toInt(x float32, scale float64) int {
	v := math.Floor(float64(x)*scale + 0.5)
	return int(max(-scale, min(v, scale-1)))
}
