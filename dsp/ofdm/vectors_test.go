package ofdm

import (
	"encoding/binary"
	"math"
	"math/cmplx"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

// correlation is that of two sequences, 1 when one is a multiple of the other.
func correlation(a []complex64, b []complex128) float64 {
	var product complex128
	var pa, pb float64
	for i := range b {
		x := complex128(a[i])
		product += x * cmplx.Conj(b[i])
		pa += real(x)*real(x) + imag(x)*imag(x)
		pb += real(b[i])*real(b[i]) + imag(b[i])*imag(b[i])
	}
	return cmplx.Abs(product) / math.Sqrt(pa*pb)
}

// readFirstSymbol reads parts C and A of the stored first symbol, of mean power
// about 1.
func readFirstSymbol(t testing.TB) []complex128 {
	raw, err := os.ReadFile("testdata/first-symbol.ci16")
	require.NoError(t, err)
	require.Len(t, raw, 4*(partC+partA))
	out := make([]complex128, partC+partA)
	for i := range out {
		re, im := binary.LittleEndian.Uint16(raw[4*i:]), binary.LittleEndian.Uint16(raw[4*i+2:])
		out[i] = complex(float64(int16(re)), float64(int16(im))) / 8192
	}
	return out
}

func TestFirstSymbolIsTheStandards(t *testing.T) {
	// Truth: a second implementation, testdata/README.txt. At 6.912 MHz the
	// stored part A is its trigonometric interpolation.
	want := readFirstSymbol(t)
	spectrum := fourier.NewCmplxFFT(partA).Coefficients(nil, want[partC:])
	finer := make([]complex128, bootA)
	for k := -outermost; k <= outermost; k++ {
		finer[(k+bootA)%bootA] = spectrum[(k+partA)%partA] / partA
	}
	finer = fourier.NewCmplxFFT(bootA).Sequence(nil, finer)

	w := newWaveform(t, 3, 36)
	got := w.boot[bootC : bootC+bootA]
	require.Greater(t, correlation(got, finer), 0.999999)
	var worst float64
	for i, v := range finer {
		worst = math.Max(worst, cmplx.Abs(v-complex128(got[i])))
	}
	require.Less(t, worst, 2e-3)

	// The renderer's, at the stored vector's own rate.
	r := newRenderer(t, BootstrapRateHz, 3e6)
	rendered := make([]complex64, partC+partA)
	require.NoError(t, r.Render(rendered, w, w.FrameSeconds(), 1/BootstrapRateHz))
	require.Greater(t, correlation(rendered, want), 0.999)
	require.Greater(t, correlation(rendered[200:2300], want[200:2300]), 0.99999)
}

func TestStoredSliceIsFound(t *testing.T) {
	// Truth: a second implementation, testdata/README.txt: where it put the
	// symbol, on which carriers, and half of the power in the band.
	raw, err := os.ReadFile("testdata/slice.cu8")
	require.NoError(t, err)
	x := make([]complex64, len(raw)/2)
	for i := range x {
		x[i] = complex((float32(raw[2*i])-127.5)/127.5, (float32(raw[2*i+1])-127.5)/127.5)
	}
	s := newTestSearcher(t, 2.4e6, 3.7e6, len(x))
	for _, c := range []struct{ expected, uncertainty float64 }{{5500, 200}, {0, 42e3}, {-3000, 9000}} {
		b, err := s.Search(x, c.expected, c.uncertainty)
		require.NoError(t, err)
		require.True(t, b.Found)
		require.Less(t, b.FalseAlarm, 1e-100)
		require.InDelta(t, 1.2345678e-3, b.StartSeconds, 0.05e-6)
		require.InDelta(t, 5432.1, b.CarrierErrorHz, 3*b.CarrierSigmaHz)
		require.Less(t, b.CarrierSigmaHz, 50.)
		require.InDelta(t, 0.5, b.Share, 0.05)
		require.Zero(t, b.FrameSeconds)
	}
	// Of the carriers' place and sign all must be right: mirrored there is nothing.
	for i, v := range x {
		x[i] = complex(real(v), -imag(v))
	}
	b, err := s.Search(x, 0, 42e3)
	require.NoError(t, err)
	require.False(t, b.Found)
}
