package pattern

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func noise(r *rand.Rand, n int) []complex64 {
	x := make([]complex64, n)
	for i := range x {
		x[i] = complex(float32(r.NormFloat64()), float32(r.NormFloat64()))
	}
	return x
}

// filtered is noise through a one-pole filter, some 10 dB down at the ends.
func filtered(r *rand.Rand, n int) []complex64 {
	x := noise(r, n)
	for i := 1; i < n; i++ {
		x[i] += 0.5 * x[i-1]
	}
	return x
}

func find(t testing.TB, x []complex64, rateHz float64) Found {
	f, err := NewFinder(rateHz)
	require.NoError(t, err)
	found, err := f.Find(x, -0.44*rateHz, 0.44*rateHz)
	require.NoError(t, err)
	return found
}

// Truth: Gaussian noise is steady and does not repeat, whatever its spectrum;
// the stated probabilities are of that.
func TestNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	r := rand.New(rand.NewPCG(1, 2))
	var sum, square float64
	n := 0
	likely := 0
	const draws = 150
	for range draws {
		for _, make := range []func(*rand.Rand, int) []complex64{noise, filtered} {
			found := find(t, make(r, 144000), 2.4e6)
			require.True(t, found.Steady(), "restlessness %.2f", found.Restlessness)
			require.Equal(t, 1., found.OnShare)
			require.False(t, found.Repeats(), "chance %g", found.Chance)
			sum += found.Restlessness
			square += found.Restlessness * found.Restlessness
			n++
			if found.Chance < 0.1 {
				likely++
			}
		}
	}
	mean := sum / float64(n)
	t.Logf("restlessness %.3f ± %.3f, chance below 0.1 in %d of %d", mean, math.Sqrt(square/float64(n)-mean*mean), likely, n)
	require.InDelta(t, 1, mean, 0.03)
	require.InDelta(t, math.Sqrt(2./140), math.Sqrt(square/float64(n)-mean*mean), 0.03)
	require.Less(t, likely, 2*draws/5)
}

// Truth: an OFDM symbol's cyclic prefix is a copy, after its useful part; the
// correlation is the prefix's share of the symbol.
func TestCyclicPrefix(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const useful, prefix = 2560, 160
	var x []complex64
	for len(x) < 144000 {
		s := noise(r, useful)
		x = append(append(x, s[useful-prefix:]...), s...)
	}
	found := find(t, x[:144000], 2.4e6)
	require.True(t, found.Repeats())
	require.InDelta(t, useful/2.4e6, found.RepeatSeconds, 1/2.4e6)
	require.InDelta(t, prefix/float64(useful+prefix), found.Likeness, 0.02)
}

// Truth: noise that is switched on for three pieces of eight.
func TestBursts(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	x := noise(r, 144000)
	for i := range x {
		if i/1200%8 >= 3 {
			x[i] *= 0.1
		}
	}
	found := find(t, x, 2.4e6)
	require.False(t, found.Steady())
	require.InDelta(t, 3./8, found.OnShare, 0.05)
	a, b := find(t, x[:72000], 2.4e6), find(t, x[72000:], 2.4e6)
	a.Merge(b)
	require.Equal(t, found.Blocks, a.Blocks)
	require.False(t, a.Steady())
}

// Truth: noise with one burst of pulses in it, as from a switch, which are like
// each other. Bursts over noise are not a signal that fills a channel.
func TestOneBurst(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	x := noise(r, 144000)
	pulse := noise(r, 12)
	for k := range 12 {
		for i, v := range pulse {
			x[50000+650*k+i] += 20 * v
		}
	}
	found := find(t, x, 2.4e6)
	require.False(t, found.Repeats(), "chance %g", found.Chance)
	require.False(t, found.Steady())
	require.Less(t, found.OnShare, 0.2)
}

// Truth: a constant envelope's power does not vary at all, noise's does.
func TestConstantEnvelope(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	x := make([]complex64, 144000)
	phase, speed := 0., 0.
	for i := range x {
		speed += 0.05*r.NormFloat64() - 0.01*speed
		phase += speed
		sin, cos := math.Sincos(phase)
		x[i] = complex(float32(cos), float32(sin))
	}
	found := find(t, x, 2.4e6)
	require.False(t, found.Steady(), "restlessness %.2f", found.Restlessness)
	require.Equal(t, 1., found.OnShare)
}

// A lone line repeats after any time: it must not pass for a signal that does.
// Truth: it was made so.
func TestLine(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	x := noise(r, 144000)
	for i := range x {
		sin, cos := math.Sincos(2 * math.Pi * 0.0123 * float64(i))
		x[i] += complex(float32(cos), float32(sin))
	}
	found := find(t, x, 2.4e6)
	require.False(t, found.Repeats(), "chance %g", found.Chance)
	require.True(t, found.Steady(), "restlessness %.2f", found.Restlessness)
}

// Truth: two bands that were made apart. What repeats in one does not in the
// other, however strong it is.
func TestBand(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	const useful, prefix, n = 2560, 320, 144000
	var x []complex64
	for len(x) < n {
		s := noise(r, useful)
		x = append(append(x, s[useful-prefix:]...), s...)
	}
	x = x[:n]
	// A moving mean leaves a fifth of the band around 0; that is moved to 0.8 MHz.
	var sum complex64
	low := make([]complex64, n)
	for i := range x {
		sum += x[i]
		if i >= 8 {
			sum -= x[i-8]
		}
		low[i] = sum
	}
	quiet := noise(r, n)
	for i := range x {
		sin, cos := math.Sincos(2 * math.Pi / 3 * float64(i))
		x[i] = low[i]*complex(float32(cos), float32(sin)) + quiet[i]
	}
	f, err := NewFinder(2.4e6)
	require.NoError(t, err)
	there, err := f.Find(x, 0.6e6, 1e6)
	require.NoError(t, err)
	require.True(t, there.Repeats())
	beside, err := f.Find(x, -1e6, -0.6e6)
	require.NoError(t, err)
	require.Less(t, beside.Likeness, there.Likeness/3)
}

// Too little to tell is no error.
func TestShort(t *testing.T) {
	found := find(t, noise(rand.New(rand.NewPCG(9, 9)), 3000), 2.4e6)
	require.Zero(t, found.Blocks)
	require.True(t, found.Steady())
	require.False(t, found.Repeats())
	_, err := NewFinder(0)
	require.Error(t, err)
}

func BenchmarkFind(b *testing.B) {
	x := noise(rand.New(rand.NewPCG(1, 1)), 144000)
	f, err := NewFinder(2.4e6)
	require.NoError(b, err)
	for b.Loop() {
		if _, err := f.Find(x, -1.05e6, 1.05e6); err != nil {
			b.Fatal(err)
		}
	}
}
