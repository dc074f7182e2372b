package air

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

// Theory: a tone through paths is Σ a·e^{j(θ − 2πfτ + 2πf_d·t)} times the tone.
func TestPathsOnTones(t *testing.T) {
	const rate = 2.4e6
	paths := []Path{
		{},
		{DelaySeconds: 1.234e-6, LevelDB: -4, PhaseDeg: 70},
		{DelaySeconds: 18.7e-6, LevelDB: -11, PhaseDeg: -20, DopplerHz: 300},
	}
	for _, hz := range []float64{0, 0.25e6, -0.7e6, 1.05e6, -1.05e6} {
		p, err := NewPaths(rate, paths...)
		require.NoError(t, err)
		x := make([]complex64, 4000)
		Tone{Amplitude: 1, Hz: hz}.Add(x, 0, 1/rate)
		for i, n := 0, 1; i < len(x); i, n = i+n, 3*n+1 {
			p.Apply(x[i:min(i+n, len(x))])
		}
		for _, n := range []int{200, 1000, 1024, 3999} {
			at := float64(n) / rate
			var want complex128
			for _, q := range paths {
				cycles := hz*(float64(n-PathLatency)/rate-q.DelaySeconds) + q.PhaseDeg/360 + q.DopplerHz*at
				want += complex(Amplitude(q.LevelDB), 0) * turns(cycles)
			}
			require.InDelta(t, 0, cmplx.Abs(complex128(x[n])-want), 5e-4, "%g Hz, sample %d", hz, n)
		}
	}
}

// Theory: nothing comes before its time; edges are refused.
func TestPathsEdges(t *testing.T) {
	p, err := NewPaths(1e6, Path{DelaySeconds: 100e-6})
	require.NoError(t, err)
	x := make([]complex64, 300)
	x[0] = 1
	p.Apply(x)
	for n, z := range x {
		if n != 100+PathLatency {
			require.InDelta(t, 0, cmplx.Abs(complex128(z)), 1e-6, n)
		}
	}
	require.InDelta(t, 1, real(x[100+PathLatency]), 1e-6)
	for _, bad := range []Path{{DelaySeconds: -1e-6}, {DelaySeconds: 1}, {DelaySeconds: math.NaN()}} {
		_, err := NewPaths(1e6, bad)
		require.Error(t, err)
	}
	_, err = NewPaths(0)
	require.Error(t, err)
	none, err := NewPaths(1e6)
	require.NoError(t, err)
	none.Apply(x)
	require.Zero(t, MeanPower(x))
}

func BenchmarkPaths(b *testing.B) {
	p, err := NewPaths(2.4e6, Path{}, Path{DelaySeconds: 1.3e-6, LevelDB: -6})
	require.NoError(b, err)
	x := make([]complex64, 4096)
	p.Apply(x)
	b.ReportAllocs()
	for b.Loop() {
		p.Apply(x)
	}
	reportRate(b, len(x))
}
