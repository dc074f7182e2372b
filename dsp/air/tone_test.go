package air

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

// Theory: the phase of a tone is the integral of its frequency.
func TestToneFollowsItsFormula(t *testing.T) {
	const step = 1 / 2.4e6
	for _, s := range []Tone{
		{Amplitude: 1, Hz: 123456.7},
		{Amplitude: 0.5i, Hz: -1.1e6},
		{Amplitude: complex(0.3, -0.4), Hz: 1e5, DriftHzPerSecond: 2e4},
	} {
		start := 3.25
		x := make([]complex64, 10_000)
		s.Add(x, start, step)
		for _, k := range []int{0, 1, 1023, 1024, 5000, 9999} {
			tk := start + float64(k)*step
			want := s.Amplitude * cmplx.Exp(complex(0, 2*math.Pi*math.Mod(s.Hz*tk+s.DriftHzPerSecond*tk*tk/2, 1)))
			require.InDelta(t, 0, cmplx.Abs(complex128(x[k])-want), 2e-6, "%+v at %d", s, k)
		}
	}
}

// Theory: a shift by hz and back is nothing; a shifted constant is a tone.
func TestShift(t *testing.T) {
	const step = 1e-6
	x := make([]complex64, 5000)
	Offset(x, 1)
	Shift(x, 12345, 1, step)
	want := make([]complex64, len(x))
	Tone{Amplitude: 1, Hz: 12345}.Add(want, 1, step)
	requireClose(t, want, x, 1e-6)
	Shift(x, -12345, 1, step)
	for _, z := range x {
		require.InDelta(t, 0, cmplx.Abs(complex128(z)-1), 1e-6)
	}
}

// Theory: a source is a function of time, however it is cut up.
func TestSourcesDoNotDependOnPieces(t *testing.T) {
	const step = 1 / 2.4e6
	const start = 17.3
	fm := NewFM(5, 0.5, 2e5, 75e3, 15e3)
	impulses := &Impulses{Seed: 4, Power: 1, Decay: 2e-6, BurstsPerSecond: 5000, PulsesPerBurst: 3, Spread: 0.5}
	for name, add := range map[string]func([]complex64, float64, float64){
		"tone":     Tone{Amplitude: 1, Hz: 3e5, DriftHzPerSecond: 10}.Add,
		"fm":       fm.Add,
		"impulses": impulses.Add,
	} {
		whole, pieces := make([]complex64, 20_000), make([]complex64, 20_000)
		add(whole, start, step)
		for i, n := 0, 1; i < len(pieces); i, n = i+n, 2*n+1 {
			add(pieces[i:min(i+n, len(pieces))], start+float64(i)*step, step)
		}
		require.NotZero(t, MeanPower(whole), name)
		requireClose(t, whole, pieces, 1e-5)
	}
}

func requireClose(t *testing.T, want, got []complex64, within float64) {
	t.Helper()
	require.Len(t, got, len(want))
	worst := 0.0
	for k := range want {
		worst = math.Max(worst, cmplx.Abs(complex128(got[k])-complex128(want[k])))
	}
	require.LessOrEqual(t, worst, within)
}

// Theory: complex arithmetic and the definition of the decibel.
func TestLevels(t *testing.T) {
	x := []complex64{1, 1i, complex(0.6, 0.8)}
	require.InDelta(t, 1, MeanPower(x), 1e-7)
	require.Zero(t, MeanPower(nil))
	AddScaled(x, []complex64{2i, 1}, complex(0, 0.5))
	requireClose(t, []complex64{0, 1.5i, complex(0.6, 0.8)}, x, 1e-7)
	require.InDelta(t, 0.1, Amplitude(-20), 1e-12)
	require.InDelta(t, 0.01, Power(-20), 1e-12)
	require.InDelta(t, -20, DB(0.01), 1e-12)
	require.True(t, math.IsInf(DB(0), -1))
}

func BenchmarkTone(b *testing.B) { benchmarkSource(b, Tone{Amplitude: 1, Hz: 1e5}.Add) }

func BenchmarkFM(b *testing.B) {
	s := NewFM(1, 1, 1e5, 75e3, 15e3)
	benchmarkSource(b, s.Add)
}

func benchmarkSource(b *testing.B, add func([]complex64, float64, float64)) {
	x := make([]complex64, 4096)
	b.ReportAllocs()
	for b.Loop() {
		add(x, 1, 1/2.4e6)
	}
	reportRate(b, len(x))
}

func reportRate(b *testing.B, samples int) {
	b.ReportMetric(float64(samples)*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
}
