package recording

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// gaussian returns values of a normal distribution.
func gaussian(n int, sigma float64) []float64 {
	rng := rand.New(rand.NewPCG(1, 2))
	out := make([]float64, n)
	for i := range out {
		out[i] = sigma * rng.NormFloat64()
	}
	return out
}

// stepped quantises as a converter with so many steps to a side does.
func stepped(values []float64, steps float64) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = max(-steps, min(math.Round(v*steps), steps-1))
	}
	return out
}

func multiplied(values []float64, by float64) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = v * by
	}
	return out
}

// floats writes values as a raw file.
func floats(t testing.TB, word string, values []float64) string {
	t.Helper()
	f, err := parseFormat(word)
	require.NoError(t, err)
	var order binary.ByteOrder = binary.LittleEndian
	if f.swap {
		order = binary.BigEndian
	}
	var b bytes.Buffer
	if f.width == 8 {
		require.NoError(t, binary.Write(&b, order, values))
	} else {
		narrow := make([]float32, len(values))
		for i, v := range values {
			narrow[i] = float32(v)
		}
		require.NoError(t, binary.Write(&b, order, narrow))
	}
	path := filepath.Join(t.TempDir(), "roof.bin")
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o600))
	return path
}

// Truth: the definition of full scale in the package comment. Values of every
// scale come out between −1 and 1, in the ratio that they had.
func TestFullScale(t *testing.T) {
	noise := gaussian(20000, 0.2) // reaches some 0.85
	for name, test := range map[string]struct {
		values []float64
		full   float64
	}{
		"as they should be":      {noise, 1},
		"a filter's overshoot":   {multiplied(noise, 1.5), 1},
		"quiet":                  {multiplied(noise, 1e-2), 1},
		"far below":              {multiplied(noise, 1e-6), 1.0 / (1 << 20)},
		"8 bits":                 {stepped(noise, 128), 128},
		"8 bits around 127.5":    {multiplied(stepped(noise, 255), 0.5), 128},
		"12 bits":                {stepped(noise, 2048), 2048},
		"16 bits":                {stepped(noise, 32768), 32768},
		"14 bits of 16":          {stepped(multiplied(noise, 0.25), 32768), 32768},
		"24 bits":                {stepped(noise, 1<<23), 1 << 23},
		"32 bits":                {stepped(noise, 1<<31), 1 << 31},
		"unit power":             {multiplied(noise, 5), 8},
		"16 bits, resampled":     {multiplied(noise, 32768), 32768},
		"anything":               {multiplied(noise, 1e5), 1 << 17},
		"nothing":                {make([]float64, 100), 1},
		"with a value of damage": {append(append([]float64(nil), noise...), 1e30, 0), 1},
	} {
		for _, word := range []string{"cf32_le", "cf32_be", "cf64_le"} {
			t.Run(name+" "+word, func(t *testing.T) {
				path := floats(t, word, test.values)
				h := Hints{word, 2.4e6, 473e6}
				r, err := Open(context.Background(), path, h)
				require.NoError(t, err)
				defer r.Close()
				full, _ := r.FullScale()
				require.Equal(t, test.full, full)
				stays, err := play(t, r, 1000)
				require.NoError(t, err)
				for i, z := range stays[0].samples {
					require.InDelta(t, test.values[2*i]/full, real(z), 1e-6)
					require.InDelta(t, test.values[2*i+1]/full, imag(z), 1e-6)
				}
				require.Zero(t, stays[0].clipped)

				// The same as a stream.
				b, err := os.ReadFile(path)
				require.NoError(t, err)
				s, err := NewReader(context.Background(), "pipe", bytes.NewReader(b), h)
				require.NoError(t, err)
				defer s.Close()
				full, _ = s.FullScale()
				require.Equal(t, test.full, full)
			})
		}
	}
}

// Truth: the definition of clipping. A converter that was driven beyond its
// range repeats its extreme values; what a float format could hold besides
// clips nothing.
func TestRailsOfFloats(t *testing.T) {
	loud, fair := gaussian(200000, 0.4), gaussian(200000, 0.15)
	tone := make([]float64, 100000)
	for i := range tone {
		tone[i] = 0.7 * math.Cos(0.1234567*float64(i))
	}
	beyond := func(values []float64, low, high float64) (n int) {
		for i := 0; i < len(values); i += 2 {
			a, b := values[i], values[i+1]
			if a <= low || a >= high || b <= low || b >= high {
				n++
			}
		}
		return n
	}
	for name, test := range map[string]struct {
		values  []float64
		clipped int
	}{
		"8 bits, loud":        {multiplied(stepped(loud, 128), 1.0/128), beyond(loud, -127.5/128, 126.5/128)},
		"16 bits, loud":       {stepped(loud, 32768), beyond(loud, -32767.5/32768, 32766.5/32768)},
		"8 bits, fair":        {multiplied(stepped(fair, 128), 1.0/128), 0},
		"16 bits, fair":       {stepped(fair, 32768), 0},
		"8 bits, quiet":       {stepped(multiplied(fair, 0.1), 128), 0},
		"never a converter's": {multiplied(loud, 1), 0},
		"a tone in 8 bits":    {stepped(tone, 128), 0},
		"a tone in 12 bits":   {stepped(tone, 2048), 0},
	} {
		t.Run(name, func(t *testing.T) {
			stays := openAll(t, floats(t, "cf32", test.values), Hints{"cf32", 2.4e6, 473e6})
			require.Equal(t, test.clipped, stays[0].clipped)
		})
	}
}

// Truth: our own promise that full scale is that of the whole recording, so
// that levels between its stays keep their ratio, and that it is found in a
// part of a large one.
func TestFullScaleOfSeveralStays(t *testing.T) {
	const each, some = 3 << 20, 20000 // samples: two stays are more than is looked at
	base := pair(t, metaJSON(t, func(g object, c []object, _ object) {
		g["core:datatype"] = "cf32_le"
		c[1]["core:sample_start"] = each
	}), []byte{})
	require.NoError(t, os.Truncate(base+dataEnding, 2*each*8))
	f, err := os.OpenFile(base+dataEnding, os.O_WRONLY, 0)
	require.NoError(t, err)
	quiet, loud := gaussian(2*some, 0.01), gaussian(2*some, 9)
	for i, values := range [][]float64{quiet, loud} {
		b := make([]byte, 0, 8*some)
		for _, v := range values {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)))
		}
		_, err := f.WriteAt(b, int64(i)*each*8)
		require.NoError(t, err)
	}
	require.NoError(t, f.Close())

	r, err := Open(context.Background(), base, Hints{})
	require.NoError(t, err)
	defer r.Close()
	full, largest := r.FullScale()
	require.Equal(t, 64.0, full)
	require.InDelta(t, 38, largest, 6)
	dst := make([]complex64, 2)
	for _, values := range [][]float64{quiet, loud} {
		_, err := r.Next(context.Background())
		require.NoError(t, err)
		_, err = r.Read(context.Background(), dst)
		require.NoError(t, err)
		require.InDelta(t, values[2]/full, real(dst[1]), 1e-6)
	}
}
