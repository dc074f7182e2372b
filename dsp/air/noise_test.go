package air

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Theory: the standard normal distribution, its moments, and binomial scatter.
func TestNoiseIsNormalToItsTails(t *testing.T) {
	const samples = 1 << 24
	n := NewNoise(7)
	buf := make([]complex64, 1<<14)

	edges := []float64{-5, -4.5, -4, -3.6541528853610088, -3.5, -3, -2.5, -2, -1.5, -1, -0.75, -0.5, -0.25, -0.125, 0,
		0.125, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 3.5, 3.6541528853610088, 4, 4.5, 5}
	counts := make([]int, len(edges)+1)
	var m1, m2, m3, m4, m6, cross, lag float64
	var before float64
	for range samples / len(buf) {
		n.Fill(buf, 2) // each part then has variance 1
		for _, z := range buf {
			for _, x := range [2]float64{float64(real(z)), float64(imag(z))} {
				i := 0
				for i < len(edges) && x >= edges[i] {
					i++
				}
				counts[i]++
				x2 := x * x
				m1 += x
				m2 += x2
				m3 += x2 * x
				m4 += x2 * x2
				m6 += x2 * x2 * x2
			}
			cross += float64(real(z)) * float64(imag(z))
			lag += float64(real(z)) * before
			before = float64(real(z))
		}
	}
	total := 2.0 * samples
	within := func(what string, got, want, variance float64) {
		t.Helper()
		require.InDelta(t, want, got, 5*math.Sqrt(variance/total), what)
	}
	within("mean", m1/total, 0, 1)
	within("2nd moment", m2/total, 1, 2)
	within("3rd moment", m3/total, 0, 15)
	within("4th moment", m4/total, 3, 105-9)
	within("6th moment", m6/total, 15, 10395-225)
	within("I against Q", cross/samples, 0, 2)
	within("I against the I before", lag/samples, 0, 2)

	cdf := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
	for i, got := range counts {
		p := 1.0
		if i < len(edges) {
			p = cdf(edges[i])
		}
		if i > 0 {
			p -= cdf(edges[i-1])
		}
		require.InDelta(t, p*total, float64(got), 5*math.Sqrt(p*(1-p)*total)+1, "bin %d, up to %v", i, edges[min(i, len(edges)-1)])
	}
}

// Theory: beyond 5σ a normal value is met once in 1 744 278 (2.8665e-7 a side);
// what lies there is checked for its mean excess too.
func TestNoiseBeyondFiveSigma(t *testing.T) {
	n := NewNoise(11)
	const draws = 200_000
	var sum float64
	beyond := 0
	for range draws {
		x := n.tail()
		require.GreaterOrEqual(t, x, tailFrom)
		sum += x
		if x > 5 {
			beyond++
		}
	}
	q := func(x float64) float64 { return math.Erfc(x/math.Sqrt2) / 2 }
	density := func(x float64) float64 { return bell(x) / math.Sqrt(2*math.Pi) }
	mean := density(tailFrom) / q(tailFrom)
	variance := 1 + tailFrom*mean - mean*mean
	require.InDelta(t, mean, sum/draws, 5*math.Sqrt(variance/draws))
	p := q(5) / q(tailFrom)
	require.InDelta(t, p*draws, float64(beyond), 5*math.Sqrt(p*draws))
}

// Theory: a set of 256 layers of equal area over the bell ends at its top.
func TestNoiseLayersClose(t *testing.T) {
	n := NewNoise(1)
	area := tailFrom*bell(tailFrom) + math.Sqrt(math.Pi/2)*math.Erfc(tailFrom/math.Sqrt2)
	x1 := float64(n.width[1]) * (1 << 23)
	require.InDelta(t, area, x1*(1-bell(x1)), 1e-8)
}

// Theory: a sequence is its seed's, whatever the pieces it is drawn in.
func TestNoiseSeeds(t *testing.T) {
	whole, pieces, other := make([]complex64, 1000), make([]complex64, 1000), make([]complex64, 1000)
	n := NewNoise(3)
	n.Fill(whole, 1)
	n.Seed(3)
	for i, step := 0, 1; i < len(pieces); i, step = i+step, step+1 {
		n.Fill(pieces[i:min(i+step, len(pieces))], 1)
	}
	require.Equal(t, whole, pieces)
	NewNoise(4).Fill(other, 1)
	require.NotEqual(t, whole, other)

	clear(other)
	n.Seed(3)
	n.Add(other, 1)
	require.Equal(t, whole, other)
}

// Theory: distinct tuples give distinct, unrelated seeds.
func TestSeedKeepsPartsApart(t *testing.T) {
	seen := map[uint64]bool{}
	for a := range uint64(100) {
		for b := range uint64(100) {
			seen[Seed(a, b)] = true
		}
		seen[Seed(a)] = true
	}
	require.Len(t, seen, 100*100+100)
}

func BenchmarkNoise(b *testing.B) {
	n := NewNoise(1)
	buf := make([]complex64, 4096)
	b.ReportAllocs()
	for b.Loop() {
		n.Fill(buf, 1)
	}
	b.ReportMetric(float64(len(buf))*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
}
