package soapy

import (
	"encoding/binary"
	"math"
	"math/bits"
	"slices"

	"rooftone/scan/tuner"
)

// format is how a driver hands samples over.
type format struct {
	name     string // SoapySDR's, such as "CS16"
	datatype string // SigMF's, that holds every value
	size     int    // bytes in a sample

	// convert turns min(len(dst), len(iq)/size) samples to full scale 1 and
	// counts those that have I or Q on a rail.
	convert func(dst []complex64, iq []byte) (n, clipped int)
}

// known are the formats that can be read, the best first where a radio's own is
// none of them. Values are as the computer has them; all that runs this is little
// endian.
var known = []string{"CS16", "CS8", "CU8", "CF32"}

// chooseFormat returns the radio's own format where it can be read, else one that
// the driver converts it to. fullScale is the value at which the radio's own
// format is at its end.
func chooseFormat(native string, fullScale float64, offered []string) (format, bool) {
	if slices.Contains(known, native) {
		return newFormat(native, fullScale), true
	}
	for _, name := range known {
		if slices.Contains(offered, name) {
			return newFormat(name, 0), true
		}
	}
	return format{}, false
}

// newFormat returns a known format; fullScale 0 stands for its whole range.
func newFormat(name string, fullScale float64) format {
	if !(fullScale > 0) || math.IsInf(fullScale, 0) {
		fullScale = map[string]float64{"CS16": 1 << 15, "CS8": 1 << 7, "CU8": 1 << 7, "CF32": 1}[name]
	}
	f := format{name: name, datatype: "cf32_le"}
	switch name {
	case "CU8":
		f.size, f.datatype, f.convert = 2, "cu8", tuner.FromBytes
	case "CS8":
		f.size, f.datatype, f.convert = 2, "ci8", fromCS8
	case "CS16":
		f.size, f.convert = 4, fromCS16(fullScale)
		if whole := uint(fullScale); float64(whole) == fullScale && bits.OnesCount(whole) == 1 && whole <= 1<<15 {
			f.datatype = "ci16_le" // a power of two keeps every value exact
		}
	case "CF32":
		f.size, f.convert = 8, fromCF32(fullScale)
	}
	return f
}

func fromCS8(dst []complex64, iq []byte) (n, clipped int) {
	n = min(len(dst), len(iq)/2)
	for i := range dst[:n] {
		a, b := int8(iq[2*i]), int8(iq[2*i+1])
		dst[i] = complex(float32(a)/128, float32(b)/128)
		if a == -128 || a == 127 || b == -128 || b == 127 {
			clipped++
		}
	}
	return n, clipped
}

// fromCS16 converts samples whose values end at −fullScale and fullScale − 1.
func fromCS16(fullScale float64) func(dst []complex64, iq []byte) (n, clipped int) {
	scale := float32(1 / fullScale)
	low := int16(max(-fullScale, math.MinInt16))
	high := int16(min(math.Ceil(fullScale)-1, math.MaxInt16))
	return func(dst []complex64, iq []byte) (n, clipped int) {
		n = min(len(dst), len(iq)/4)
		for i := range dst[:n] {
			v := binary.LittleEndian.Uint32(iq[4*i:])
			a, b := int16(v), int16(v>>16)
			dst[i] = complex(float32(a)*scale, float32(b)*scale)
			if a <= low || a >= high || b <= low || b >= high {
				clipped++
			}
		}
		return n, clipped
	}
}

// fromCF32 converts samples whose values end at ±fullScale, or a step of 11 bits
// before it: drivers make them of whole numbers that have one less above zero.
func fromCF32(fullScale float64) func(dst []complex64, iq []byte) (n, clipped int) {
	scale, rail := float32(1/fullScale), float32(1-1.0/(1<<10))
	return func(dst []complex64, iq []byte) (n, clipped int) {
		n = min(len(dst), len(iq)/8)
		for i := range dst[:n] {
			v := binary.LittleEndian.Uint64(iq[8*i:])
			a, b := math.Float32frombits(uint32(v))*scale, math.Float32frombits(uint32(v>>32))*scale
			dst[i] = complex(a, b)
			if a <= -rail || a >= rail || b <= -rail || b >= rail {
				clipped++
			}
		}
		return n, clipped
	}
}
