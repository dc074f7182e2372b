package vsb

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

// correlation is the magnitude of the correlation of a and b.
func correlation(a []complex64, b []complex128) float64 {
	var ab complex128
	var aa, bb float64
	for i := range b {
		v := complex128(a[i])
		ab += v * cmplx.Conj(b[i])
		aa += real(v)*real(v) + imag(v)*imag(v)
		bb += real(b[i])*real(b[i]) + imag(b[i])*imag(b[i])
	}
	return cmplx.Abs(ab) / math.Sqrt(aa*bb)
}

func TestWaveformOfSecondImplementation(t *testing.T) {
	// Truth: a second implementation. GNU Radio's encoder, pilot, mixer and
	// filter against our pulses for the same symbols, sampled at the symbols'
	// times; its pulse has 2001 taps.
	even, _ := readRuns(t)
	want := readWaveform(t)
	got := make([]complex64, len(want))
	r := newRenderer(t, SymbolRateHz, ChannelWidthHz/2)
	require.NoError(t, r.add(got, even, PilotLevel, waveformAt/SymbolRateHz, 1/SymbolRateHz, 1))
	t.Logf("correlation %.7f, error %.1f dB", correlation(got, want), errorDB(got, want))
	require.Greater(t, correlation(got, want), 0.999)
	require.Less(t, errorDB(got, want), -60.)
}

func TestSliceOfSecondImplementation(t *testing.T) {
	// Truth: a second implementation. GNU Radio's waveform, cut down to a
	// slice here by its discrete Fourier series, against ours in the slice.
	even, _ := readRuns(t)
	whole := readWaveform(t)
	n := len(whole)
	const taper = 512
	for i := range taper {
		fade := complex(0.5-0.5*math.Cos(math.Pi*(float64(i)+0.5)/taper), 0)
		whole[i] *= fade
		whole[n-1-i] *= fade
	}
	series := fourier.NewCmplxFFT(n).Coefficients(nil, whole)
	for _, offset := range []float64{1e6, 3e6, 5e6, -0.5e6} {
		const rate = 2.4e6
		// From 110 µs after the first sample on, for 150 µs: away from the fades.
		const start, count = waveformAt/SymbolRateHz + 110e-6, 360
		got := make([]complex64, count)
		require.NoError(t, newRenderer(t, rate, offset).add(got, even, PilotLevel, start, 1/rate, 1))
		want := make([]complex128, count)
		for k, c := range series {
			hz := float64(k) / float64(n) * SymbolRateHz
			if k >= n/2 {
				hz -= SymbolRateHz
			}
			hz += ChannelWidthHz/2 - offset
			c *= complex(sliceResponse(hz/rate)/float64(n), 0)
			if c == 0 {
				continue
			}
			for i := range want {
				// The series counts from its first sample, the mixer that
				// moves it into the slice from time 0.
				const first = waveformAt / SymbolRateHz
				at := start + float64(i)/rate
				want[i] += c * turn(hz*(at-first)+(ChannelWidthHz/2-offset)*first)
			}
		}
		t.Logf("%v MHz: correlation %.7f, error %.1f dB", offset/1e6, correlation(got, want), errorDB(got, want))
		require.Greater(t, correlation(got, want), 0.999)
		require.Less(t, errorDB(got, want), -55.)
	}
}
