package recording

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

// Truth: tuner.FromBytes, the other implementation of cu8, for every pair of
// bytes there is.
func TestU8IsTheTunersConversion(t *testing.T) {
	src := make([]byte, 0, 1<<17)
	for a := range 256 {
		for b := range 256 {
			src = append(src, byte(a), byte(b))
		}
	}
	f, err := parseFormat("cu8")
	require.NoError(t, err)
	for _, n := range []int{1 << 16, 0, 1, 3, 4, 5, 1001} {
		want, got := make([]complex64, n), make([]complex64, n)
		_, wantClipped := tuner.FromBytes(want, src)
		clipped, bad := f.decode(got, src[:2*n])
		require.Equal(t, -1, bad)
		require.Equal(t, wantClipped, clipped)
		require.Equal(t, want, got)
	}
}

// Truth: the definitions in the package comment, with encoding/binary as a
// second reader of the bytes. The byte order is tried both ways.
func TestFormatValues(t *testing.T) {
	type sample struct {
		i, q    any
		want    complex128
		clipped bool
	}
	const u16, u32 = 65535 / 2.0, 4294967295 / 2.0
	tests := map[string][]sample{
		"ci8": {
			{int8(0), int8(1), complex(0, 1.0/128), false},
			{int8(-128), int8(0), -1, true},
			{int8(0), int8(127), complex(0, 127.0/128), true},
			{int8(-127), int8(126), complex(-127.0/128, 126.0/128), false},
			{int8(-1), int8(-1), complex(-1.0/128, -1.0/128), false},
		},
		"ci16": {
			{int16(0), int16(1), complex(0, 1.0/32768), false},
			{int16(-32768), int16(5), complex(-1, 5.0/32768), true},
			{int16(5), int16(32767), complex(5.0/32768, 32767.0/32768), true},
			{int16(-32767), int16(32766), complex(-32767.0/32768, 32766.0/32768), false},
		},
		"cu16": {
			{uint16(0), uint16(32768), complex(-1, 0.5/u16), true},
			{uint16(32767), uint16(65535), complex(-0.5/u16, 1), true},
			{uint16(1), uint16(65534), complex(1/u16-1, 1-1/u16), false},
		},
		"ci32": {
			{int32(1 << 30), int32(-1 << 29), complex(0.5, -0.25), false},
			{int32(math.MinInt32), int32(0), -1, true},
			{int32(0), int32(math.MaxInt32), 1i, true},
			{int32(math.MinInt32 + 1), int32(math.MaxInt32 - 1), complex(-1, 1), false},
		},
		"cu32": {
			{uint32(0), uint32(1 << 31), complex(-1, 0.5/u32), true},
			{uint32(1 << 30), uint32(math.MaxUint32), complex(-0.5, 1), true},
			{uint32(1 << 30), uint32(3 << 30), complex(-0.5, 0.5), false},
		},
		// What a float's rails are its format does not tell.
		"cf32": {
			{float32(0.25), float32(-0.5), complex(0.25, -0.5), false},
			{float32(1), float32(0), 1, false},
			{float32(-3), float32(7), complex(-3, 7), false},
			{math.Nextafter32(1, 0), float32(0), complex(float64(math.Nextafter32(1, 0)), 0), false},
		},
		"cf64": {
			{0.25, -0.5, complex(0.25, -0.5), false},
			{1.0, 0.0, 1, false},
			{0.0, -2.0, -2i, false},
		},
	}
	orders := map[string]binary.ByteOrder{"_le": binary.LittleEndian, "_be": binary.BigEndian}
	for name, samples := range tests {
		for suffix, order := range orders {
			t.Run(name+suffix, func(t *testing.T) {
				f, err := parseFormat(name + suffix)
				require.NoError(t, err)
				for _, s := range samples {
					var src bytes.Buffer
					require.NoError(t, binary.Write(&src, order, s.i))
					require.NoError(t, binary.Write(&src, order, s.q))
					require.Equal(t, f.size(), int64(src.Len()))
					var got [1]complex64
					clipped, bad := f.decode(got[:], src.Bytes())
					require.Equal(t, -1, bad)
					require.InDelta(t, real(s.want), float64(real(got[0])), 1e-7)
					require.InDelta(t, imag(s.want), float64(imag(got[0])), 1e-7)
					require.Equal(t, s.clipped, clipped == 1, "%v", s)
				}
			})
		}
	}
}

// Truth: the words of the SigMF specification's datatypes, and common practice
// for the rest: NumPy's and C's names of types, and those that recorders write.
func TestParseFormat(t *testing.T) {
	for word, want := range map[string]string{
		"cu8": "cu8", "ci8": "ci8", "ci8_le": "ci8", "ci16_le": "ci16_le", "ci16": "ci16_le",
		"ci16_be": "ci16_be", "cf32_le": "cf32_le", "cf64_be": "cf64_be", "cu32": "cu32_le",
		"u8": "cu8", "uint8": "cu8", "CU8": "cu8", "cs8": "ci8", "int8": "ci8", "sc8": "ci8",
		"cs16": "ci16_le", "sc16": "ci16_le", "SC16": "ci16_le", "s16": "ci16_le", "int16": "ci16_le", "short": "ci16_le",
		"s16le": "ci16_le", "s16be": "ci16_be", "cs16_be": "ci16_be", "int16-be": "ci16_be",
		"fc32": "cf32_le", "f32": "cf32_le", "float": "cf32_le", "complex64": "cf32_le", "fc": "cf32_le", "f32be": "cf32_be",
		"float32": "cf32_le", "double": "cf64_le", "complex128": "cf64_le", "u16": "cu16_le", "double_be": "cf64_be",
	} {
		got, err := ParseFormat(word)
		require.NoError(t, err, word)
		require.Equal(t, want, got, word)
	}
	for word, want := range map[string]string{
		"ri16_le": "real samples (ri16_le)", "rf32": "real samples", "RU8": "real samples",
		"": "not known", "c": "not known", "cu9": "not known", "rooftop": "not known",
		"cf32_xe": "not known", "cu8_le_le": "not known", "le": "not known", "_be": "not known", "ci12": "not known",
	} {
		_, err := ParseFormat(word)
		require.ErrorContains(t, err, want, word)
	}
}

// Truth: IEEE 754. NaN, infinity and absurd values are found wherever they
// stand, and what lies before them is converted.
func TestFloatDamage(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e30, -65537} {
		for _, word := range []string{"cf32_le", "cf64_be"} {
			f, err := parseFormat(word)
			require.NoError(t, err)
			for at := range 14 {
				values := make([]float64, 14)
				values[at] = v
				var order binary.ByteOrder = binary.LittleEndian
				if f.swap {
					order = binary.BigEndian
				}
				var src bytes.Buffer
				for _, v := range values {
					if f.width == 4 {
						require.NoError(t, binary.Write(&src, order, float32(v)))
					} else {
						require.NoError(t, binary.Write(&src, order, v))
					}
				}
				_, bad := f.decode(make([]complex64, 7), src.Bytes())
				require.Equal(t, at/2, bad)
			}
		}
	}
}

// Truth: decode is the definition; encode must be its inverse for every value
// of the integer formats, and hold its limits beyond full scale.
func TestEncodeIsTheInverse(t *testing.T) {
	for _, name := range []string{"cu8", "ci8", "ci16_le"} {
		f, err := parseFormat(name)
		require.NoError(t, err)
		e := encoderFor(name)
		require.Equal(t, name, e.name)
		require.Equal(t, f.size(), int64(e.size))
		src := make([]byte, 0, 1<<18)
		for v := range 1 << 16 {
			src = append(src, byte(v), byte(v>>8), byte(v>>3), byte(v>>5))
		}
		samples := make([]complex64, len(src)/e.size)
		f.decode(samples, bytes.Clone(src))
		got := make([]byte, len(src))
		e.encode(got, samples)
		require.True(t, bytes.Equal(src, got), name)

		over := []complex64{complex(2, -2), complex(1e6, -1e6), complex(1, -1)}
		raw := make([]byte, len(over)*e.size)
		e.encode(raw, over)
		back := make([]complex64, len(over))
		clipped, _ := f.decode(back, raw)
		require.Equal(t, len(over), clipped)
		require.InDelta(t, 1, real(back[0]), 1.0/128)
		require.InDelta(t, -1, imag(back[0]), 1.0/128)
	}
}

func BenchmarkDecode(b *testing.B) {
	for _, name := range []string{"cu8", "ci8", "ci16_le", "ci16_be", "cf32_le"} {
		b.Run(name, func(b *testing.B) {
			f, err := parseFormat(name)
			require.NoError(b, err)
			dst := make([]complex64, chunkSamples)
			src := make([]byte, chunkSamples*f.size())
			if name[:2] != "cf" {
				for i := range src {
					src[i] = byte(100 + i%57) // no rails: the common case
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				f.decode(dst, src)
			}
			b.ReportMetric(float64(b.N)*chunkSamples/b.Elapsed().Seconds()/1e6, "MS/s")
		})
	}
}
