package vsb

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLeakIsSumOverSymbols(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the definition. Every unknown symbol's answer on its own, added up
	// one by one, against the recursion and its groups.
	for _, c := range []struct{ rate, offset float64 }{{2.4e6, 3e6}, {2.4e6, 1e6}, {1e6, 2e6}, {3.2e6, 4e6}, {10e6, 3e6}} {
		g, err := newLayout(c.rate, c.offset)
		require.NoError(t, err)
		taps := []tap{{0, 1}, {g.lastDelay * 2 / 3, decibels(-5, 1)}, {g.firstDelay / 2, decibels(-12, 2)}, {1, decibels(-20, 3)}}
		got := newTriangle(g.points)
		newLeak(g).add(got, taps)

		want := newTriangle(g.points)
		answer := make([]complex128, g.points)
		for k := -700; k < KnownSymbols+700; k++ {
			if k >= 0 && k < KnownSymbols {
				continue
			}
			clear(answer)
			for i := range answer {
				for _, p := range taps {
					at := g.pulseAt + (i-leadSteps)*2*g.stepSymbols - 2*g.perStep*k - p.delay*g.stepSymbols
					if at >= 0 && at < len(g.pulse) {
						answer[i] += p.gain * g.pulse[at]
					}
				}
			}
			for i, a := range answer {
				for j, row := 0, want.row(i); j <= i; j++ {
					row[j] += LevelMeanSquare * a * complex(real(answer[j]), -imag(answer[j]))
				}
			}
		}
		var diff, all float64
		for i := range g.points {
			for j, v := range want.row(i) {
				all += norm2([]complex128{v})
				diff += norm2([]complex128{v - got.row(i)[j]})
			}
		}
		t.Logf("%v MS/s at %v MHz: %d points, groups of %d, %.1f dB", c.rate/1e6, c.offset/1e6, g.points, newLeak(g).group, 10*math.Log10(diff/all))
		require.Less(t, 10*math.Log10(diff/all), -30.)
	}
}

func TestGridKeepsNoiseWhite(t *testing.T) {
	// Truth: theory. A root of a Nyquist filter leaves white noise white on a
	// grid of its half-power width, scaled to the noise's density.
	g, err := newLayout(2.4e6, 3e6)
	require.NoError(t, err)
	w, err := newWindow(g)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(3, 4))
	x := make([]complex64, 2048)
	points := make([]complex128, g.points)
	correlation := make([]complex128, 8)
	const trials, density = 400, 3e-7
	sigma := math.Sqrt(density * g.rateHz / 2)
	for range trials {
		for i := range x {
			x[i] = complex(float32(sigma*rng.NormFloat64()), float32(sigma*rng.NormFloat64()))
		}
		require.NoError(t, w.cut(points, x, 900+rng.Float64(), 1000*rng.NormFloat64(), 4e-5))
		for lag := range correlation {
			for i := lag; i < g.points; i++ {
				correlation[lag] += points[i] * complex(real(points[i-lag]), -imag(points[i-lag])) / complex(float64(g.points-lag)*trials*density, 0)
			}
		}
	}
	// 400·144 values: 0.4 %.
	require.InDelta(t, 1, real(correlation[0]), 0.02)
	for _, c := range correlation[1:] {
		require.InDelta(t, 0, math.Hypot(real(c), imag(c)), 0.02)
	}
}

func TestGridShowsTraining(t *testing.T) {
	// Truth: the renderer's training, which was checked against closed forms,
	// cut out of its samples at odd places, carriers and clocks.
	for _, c := range []struct {
		rate, offset, ppm, hz float64
	}{
		{2.4e6, 3e6, 0, 0}, {2.4e6, 1e6, 60, -12345}, {2.4e6, 5e6, -59, 30000}, {3.2e6, 2e6, 10, 100}, {12e6, 3e6, 60, 500}, {1e6, 3.3e6, 0, 0},
	} {
		for parity, odd := range []bool{true, false} {
			g, err := newLayout(c.rate, c.offset)
			require.NoError(t, err)
			w, err := newWindow(g)
			require.NoError(t, err)
			r, err := NewReference(c.rate, c.offset-c.hz)
			require.NoError(t, err)
			x := make([]complex64, int(600e-6*c.rate))
			rate := c.rate * (1 + c.ppm*1e-6)
			const lead = 251.37e-6
			require.NoError(t, r.Samples(x, odd, false, -lead, 1/rate))
			got, want := make([]complex128, g.points), make([]complex128, g.points)
			require.NoError(t, w.cut(got, x, lead*rate, c.hz, c.ppm*1e-6))
			g.atom(want, g.known[parity], 0)
			// The field's phase is free.
			turned := inner(want, got)
			turned /= complex(math.Hypot(real(turned), imag(turned)), 0)
			var diff float64
			for i := range want {
				diff += norm2([]complex128{got[i] - want[i]*turned})
			}
			db := 10 * math.Log10(diff/norm2(want))
			t.Logf("%+v: %.1f dB", c, db)
			require.Less(t, db, -59.)
		}
	}
}
