package air

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

// Theory: the closed form that PassBand states.
func TestPassBand(t *testing.T) {
	for _, c := range []struct{ droop, tilt float64 }{{0, 0}, {1.5, 0}, {1.5, 0.6}, {3, -1}} {
		f := NewFIR(PassBand(c.droop, c.tilt))
		require.InDelta(t, 1, cmplx.Abs(f.Response(0)), 1e-6)
		db := func(x float64) float64 { return DB(math.Pow(cmplx.Abs(f.Response(x)), 2)) }
		require.InDelta(t, c.tilt, db(0.25)-db(-0.25), 1e-4)
		if c.tilt == 0 {
			require.InDelta(t, -c.droop, db(PassBandEdge), 1e-4)
			require.InDelta(t, -c.droop, db(-PassBandEdge), 1e-4)
		}
		for x := -0.5; x < 0.5; x += 0.01 {
			require.InDelta(t, 0, imag(f.Response(x)), 1e-6, "linear phase")
		}
	}
}

// Theory: a filter's answer to a tone is its response at that frequency, and
// convolution by the book on noise, whatever the pieces.
func TestFIR(t *testing.T) {
	taps := PassBand(1.5, 0.5)
	x := make([]complex64, 5000)
	NewNoise(1).Fill(x, 1)
	want := make([]complex64, len(x))
	for n := range x {
		for k, h := range taps {
			if n >= k {
				want[n] += h * x[n-k]
			}
		}
	}
	f := NewFIR(taps)
	y := append([]complex64(nil), x...)
	for i, n := 0, 1; i < len(y); i, n = i+n, n%7+1 {
		f.Apply(y[i:min(i+n, len(y))])
	}
	requireClose(t, want, y, 2e-6)
	f.Reset()
	copy(y, x)
	f.Apply(y)
	requireClose(t, want, y, 2e-6)

	const hz = 0.31
	tone := make([]complex64, 100)
	Tone{Amplitude: 1, Hz: hz}.Add(tone, 0, 1)
	f.Reset()
	f.Apply(tone)
	got := complex128(tone[99]) / cmplx.Exp(complex(0, 2*math.Pi*hz*(99-2)))
	require.InDelta(t, 0, cmplx.Abs(got-f.Response(hz)), 1e-5)

	one := []complex64{3}
	NewFIR([]complex64{2}).Apply(one)
	require.Equal(t, complex64(6), one[0])
	NewFIR(nil).Apply(one)
}

func BenchmarkFIR(b *testing.B) {
	f := NewFIR(PassBand(1.5, 0.5))
	x := make([]complex64, 4096)
	b.ReportAllocs()
	for b.Loop() {
		f.Apply(x)
	}
	reportRate(b, len(x))
}
