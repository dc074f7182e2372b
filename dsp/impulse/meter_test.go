package impulse

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	testRate = 2.4e6
	testHalf = 1.05e6
)

// stayOf is Gaussian noise of the given density in FS²/Hz, by arithmetic that
// shares nothing with the simulator's.
func stayOf(r *rand.Rand, n int, density func(hz float64) float64) []complex64 {
	f := fourier.NewCmplxFFT(n)
	bins := make([]complex128, n)
	for i := range bins {
		hz := float64(i) / float64(n) * testRate
		if i >= n/2 {
			hz -= testRate
		}
		a := math.Sqrt(density(hz) * testRate / float64(n) / 2)
		bins[i] = complex(a*r.NormFloat64(), a*r.NormFloat64())
	}
	out := make([]complex64, n)
	for i, v := range f.Sequence(nil, bins) {
		out[i] = complex64(v)
	}
	return out
}

// station is the density of a station whose lower edge is 1 MHz below the
// middle, 1 where it is flat: A/53 Part 2's skirt.
func station(hz float64) float64 {
	switch d := (hz + 1e6) / 620e3; {
	case d <= 0:
		return 0
	case d < 1:
		return math.Pow(math.Sin(math.Pi/2*d), 2)
	}
	return 1
}

// gate adds even noise of a density while on.
func gate(r *rand.Rand, x []complex64, density float64, on func(seconds float64) bool) {
	a := float32(math.Sqrt(density * testRate / 2))
	for i := range x {
		if on(float64(i) / testRate) {
			x[i] += complex(a*float32(r.NormFloat64()), a*float32(r.NormFloat64()))
		}
	}
}

// Truth: arithmetic. Pulses of known height at a known rate under a station of
// known C/N: what they add to the mean noise, how often they come and how much
// of the time they take are what was put in.
func TestPulsesUnderAStation(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	const noise = 1e-12
	for _, row := range []struct {
		name               string
		cnDB, costDB, rate float64
		duty               float64
		pulses             int // in each burst
	}{
		{"flat noise", math.Inf(-1), 3, 120, 0.01, 1},
		{"weak", 12, 3, 120, 0.01, 1},
		{"middling", 20, 3, 120, 0.01, 1},
		{"strong", 30, 3, 120, 0.01, 1},
		{"strong, 100 Hz", 28, 3, 100, 0.01, 1},
		{"strong, once a period", 28, 3, 60, 0.01, 1},
		{"strong, little", 28, 1, 120, 0.01, 1},
		{"strong, many", 25, 6, 120, 0.02, 5},
		{"at 50 Hz", 20, 3, 50, 0.005, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(7, uint64(row.cnDB*10+500)))
			m, err := NewMeter(testRate, testHalf)
			require.NoError(t, err)
			signal := 0.0
			if !math.IsInf(row.cnDB, -1) {
				signal = noise * math.Pow(10, row.cnDB/10)
			}
			x := stayOf(r, 1<<20, func(hz float64) float64 { return noise + signal*station(hz) })
			mean := noise * (math.Pow(10, row.costDB/10) - 1)
			gate(r, x, mean/row.duty, func(s float64) bool {
				phase := math.Mod(s*row.rate, 1) * 4 // the first quarter of a period
				return phase < 1 && math.Mod(phase*float64(row.pulses), 1) < row.duty*4
			})
			p, err := m.Measure(x)
			require.NoError(t, err)
			cost := 10 * math.Log10(1+p.Density/noise)
			found, ok := p.Rhythm.Mains(1e-6)
			t.Logf("cost %.2f dB ± %.2f, duty %.2g, %d bursts, %+v", cost, 10/math.Ln10*p.DensitySigma/(noise+p.Density), Duty(p.Excess, p.Square), p.Bursts, found)
			require.InDelta(t, row.costDB, cost, 0.5)
			require.True(t, ok)
			require.InDelta(t, row.rate, found.RateHz, 0.2)
			require.InEpsilon(t, row.duty, Duty(p.Excess, p.Square), 0.35)
		})
	}
}

// Truth: theory. Noise without pulses has no rhythm, no bursts and no excess.
func TestNoPulses(t *testing.T) {
	m, err := NewMeter(testRate, testHalf)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(3, 4))
	var sum, squares float64
	var all Rhythm
	n := 12
	if testing.Short() {
		n = 4
	}
	for k := range n {
		signal := math.Pow(10, float64(k%4)*0.8)
		x := stayOf(r, 1<<18, func(hz float64) float64 { return 1e-12 * (1 + signal*station(hz)) })
		for i := range x { // a tone too
			x[i] += complex64(cmplx.Rect(1e-4, 0.7*float64(i)))
		}
		p, err := m.Measure(x)
		require.NoError(t, err)
		sum += p.Excess / p.ExcessSigma
		squares += math.Pow(p.Excess/p.ExcessSigma, 2)
		require.LessOrEqual(t, p.Bursts, 1)
		_, ok := p.Rhythm.Mains(1e-4)
		require.False(t, ok)
		all.Add(&p.Rhythm)
	}
	_, ok := all.Mains(1e-4)
	require.False(t, ok)
	t.Logf("excess in sigmas: mean %.2f, rms %.2f", sum/float64(n), math.Sqrt(squares/float64(n)))
	require.Less(t, math.Sqrt(squares/float64(n)), 2.0)
}

// Truth: theory. Pulses without a rhythm are counted.
func TestPulsesAtRandom(t *testing.T) {
	m, err := NewMeter(testRate, testHalf)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(5, 6))
	x := stayOf(r, 1<<20, func(hz float64) float64 { return 1e-12 * (1 + 300*station(hz)) })
	seconds := float64(len(x)) / testRate
	var starts []float64
	for at := 0.003; at < seconds-0.01; at += 0.002 + r.ExpFloat64()*0.02 {
		starts = append(starts, at)
	}
	gate(r, x, 1e-9, func(s float64) bool {
		for _, at := range starts {
			if s >= at && s < at+50e-6 {
				return true
			}
		}
		return false
	})
	p, err := m.Measure(x)
	require.NoError(t, err)
	require.Equal(t, len(starts), p.Bursts)
	_, ok := p.Rhythm.Mains(1e-6)
	require.False(t, ok)
}

func TestMeterRefuses(t *testing.T) {
	for _, bad := range [][2]float64{{0, 1}, {2.4e6, 0}, {2.4e6, 2e6}, {math.NaN(), 1}, {1e6, math.NaN()}} {
		_, err := NewMeter(bad[0], bad[1])
		require.Error(t, err, fmt.Sprint(bad))
	}
	m, err := NewMeter(testRate, testHalf)
	require.NoError(t, err)
	_, err = m.Measure(make([]complex64, 100))
	require.Error(t, err)
	_, err = m.Measure(make([]complex64, 1<<18)) // silence
	require.Error(t, err)
}

func BenchmarkMeasure(b *testing.B) {
	m, err := NewMeter(testRate, testHalf)
	require.NoError(b, err)
	x := stayOf(rand.New(rand.NewPCG(1, 2)), 720000/2*2, func(float64) float64 { return 1e-12 })
	b.SetBytes(int64(len(x)))
	for b.Loop() {
		if _, err := m.Measure(x); err != nil {
			b.Fatal(err)
		}
	}
}

// Truth: arithmetic. A lone cluster of pulses goes with no mains, and the time
// that it takes is told, at the end of the samples too.
func TestLoneCluster(t *testing.T) {
	m, err := NewMeter(testRate, testHalf)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(8, 9))
	for _, begin := range []float64{0.0004, 0.1, 0.2965} {
		x := stayOf(r, 720000, func(hz float64) float64 { return 1e-12 * (1 + 30*station(hz)) })
		gate(r, x, 3e-9, func(s float64) bool {
			return s >= begin && s < begin+2.6e-3 && math.Mod((s-begin)*5e3, 1) < 0.02
		})
		p, err := m.Measure(x)
		require.NoError(t, err)
		_, ok := p.Rhythm.Mains(1e-6)
		require.False(t, ok, "at %g s", begin)
		require.GreaterOrEqual(t, p.Bursts, 1)
		require.LessOrEqual(t, p.Loud[0], begin+2e-5)
		require.GreaterOrEqual(t, p.Loud[len(p.Loud)-1], math.Min(begin+2.4e-3, 0.2988))
		require.InDelta(t, begin, p.Loud[0], 1e-3)
	}
}

// Truth: arithmetic. Pieces join weighted by their lengths.
func TestPiecesJoin(t *testing.T) {
	var sum Piece
	a := Piece{Seconds: 0.1, Density: 3, QuietSigma: 0.4, DensitySigma: 0.5, Excess: 2, Square: 5, Bursts: 2, Loud: []float64{0, 1}}
	b := Piece{Seconds: 0.3, Density: 1, QuietSigma: 0.3, DensitySigma: 0.3, Excess: 1, Square: 1, Bursts: 3}
	a.Profile[0], b.Profile[1] = 1, 1
	sum.Add(&a)
	sum.Loud = nil
	require.Equal(t, a.Density, sum.Density)
	sum.Add(&b)
	require.InDelta(t, 0.4, sum.Seconds, 1e-12)
	require.InDelta(t, 1.5, sum.Density, 1e-12)
	require.InDelta(t, math.Hypot(0.1, 0.225), sum.QuietSigma, 1e-12)
	require.InDelta(t, 1.25, sum.Excess, 1e-12)
	require.InDelta(t, 2, sum.Square, 1e-12)
	require.Equal(t, 5, sum.Bursts)
	require.InDelta(t, 0.25, sum.Profile[0], 1e-12)
	require.InDelta(t, 0.75, sum.Profile[1], 1e-12)
	sum.Add(&Piece{})
	require.InDelta(t, 0.4, sum.Seconds, 1e-12)
}

// Truth: the sum itself, term by term.
func TestTurningPower(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 11))
	x := make([]float64, 5000)
	for i := range x {
		x[i] = r.NormFloat64() + 3
	}
	turns := []float64{0.001, 0.0123, 0.25, 0.499, 0.07, 0.3}
	power := make([]float64, len(turns))
	turningPower(power, x, 3, turns)
	for k, turn := range turns {
		var sum complex128
		for n, v := range x {
			sum += complex(v-3, 0) * cmplx.Rect(1, -2*math.Pi*turn*float64(n))
		}
		want := real(sum)*real(sum) + imag(sum)*imag(sum)
		require.InEpsilon(t, want, power[k], 1e-6)
	}
}
