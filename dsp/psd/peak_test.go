package psd

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestPeakOfCleanTone(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: theory. A tone without noise, anywhere between values of the grid
	// and at any phase, is found at its frequency and power.
	const rate, offset, span = 2.4e6, -690e3, 100e3
	rng := random(1)
	for _, duration := range []float64{0.02, 0.0325, 0.06} {
		z, err := NewZoom(rate, offset, span, duration)
		require.NoError(t, err)
		x := make([]complex64, int(rate*duration))
		for range 40 {
			f := offset + span*0.9*(rng.Float64()-0.5)
			amplitude := math.Pow(10, -3*rng.Float64())
			clear(x)
			addTone(x, amplitude, f/rate, rng.Float64())
			z.Reset()
			z.Write(x)
			z.Flush()
			p, ok := z.Peak(f-30/duration, f+30/duration)
			require.True(t, ok)
			require.InDelta(t, f, p.OffsetHz, 0.002/duration)
			require.InDelta(t, 20*math.Log10(amplitude), toDB(z.Tone(p, 0).Power), 0.01)
		}
	}
}

func TestToneScatter(t *testing.T) {
	// Truth: theory. Against noise, frequency and power scatter as Tone says,
	// without bias, and for one block the frequency by no more than 15 % over
	// the Cramér–Rao bound (D. C. Rife and R. R. Boorstyn, "Single tone
	// parameter estimation from discrete-time observations", 1974).
	const rate, offset, span, duration, trials = 200e3, 30e3, 40e3, 0.01, 400
	for _, c := range []struct {
		blocks  int
		levelDB float64 // tone power over N₀·BandwidthHz
	}{{1, 25}, {1, 16}, {4, 13}} {
		z, err := NewZoom(rate, offset, span, duration)
		require.NoError(t, err)
		const noiseDensity = 1e-6
		power := math.Pow(10, c.levelDB/10) * noiseDensity * z.BandwidthHz()
		rng := random(uint64(c.levelDB))
		x := make([]complex64, int(float64(c.blocks)*duration*rate))
		var frequency, level, frequencySigma, levelSigma []float64
		for range trials {
			f := offset + 100*rng.Float64()
			fillNoise(x, noiseDensity*rate, rng)
			addTone(x, math.Sqrt(power), f/rate, rng.Float64())
			z.Reset()
			z.Write(x)
			z.Flush()
			p, ok := z.Peak(f-200, f+200)
			require.True(t, ok)
			tone := z.Tone(p, noiseDensity)
			frequency = append(frequency, tone.OffsetHz-f)
			level = append(level, tone.Power/power)
			frequencySigma = append(frequencySigma, tone.OffsetSigmaHz)
			levelSigma = append(levelSigma, tone.PowerSigma/power)
		}
		sigma := math.Sqrt(varianceAround(frequency, 0))
		require.InEpsilon(t, sigma, meanOf(frequencySigma), 0.15, "%+v", c)
		require.InDelta(t, 0, meanOf(frequency), 4*sigma/math.Sqrt(trials), "%+v", c)
		require.InEpsilon(t, math.Sqrt(varianceAround(level, 1)), meanOf(levelSigma), 0.15, "%+v", c)
		require.InDelta(t, 0, toDB(meanOf(level)), 0.15, "%+v", c)

		bound := math.Sqrt(6 * noiseDensity / (4 * math.Pi * math.Pi * power * math.Pow(duration, 3) * float64(c.blocks)))
		require.InDelta(t, 1.06, meanOf(frequencySigma)/bound, 0.09, "%+v", c)
	}
}

func TestPeakAtEdgesAndOfNothing(t *testing.T) {
	// Truth: what the comments promise.
	z, err := NewZoom(200e3, 0, 40e3, 0.01)
	require.NoError(t, err)
	_, ok := z.Peak(-1e3, 1e3)
	require.False(t, ok, "nothing written")
	z.Write(make([]complex64, 2000))
	z.Flush()
	_, ok = z.Peak(-1e3, 1e3)
	require.False(t, ok, "silence has no peak")

	z.Reset()
	x := make([]complex64, 2000)
	addTone(x, 1, -20e3/200e3, 0)
	z.Write(x)
	z.Flush()
	p, ok := z.Peak(-30e3, 30e3)
	require.True(t, ok)
	require.InDelta(t, -20e3, p.OffsetHz, 30)
	for _, band := range [][2]float64{{30e3, 31e3}, {-31e3, -30e3}, {1e3, -1e3}, {math.NaN(), 1e3}, {1e3, math.NaN()}, {math.Inf(1), math.Inf(1)}} {
		_, ok = z.Peak(band[0], band[1])
		require.False(t, ok, "%v", band)
	}
	_, ok = z.Peak(math.Inf(-1), math.Inf(1))
	require.True(t, ok)

	tone := z.Tone(Peak{OffsetHz: 1, Density: 1}, 2)
	require.Zero(t, tone.Power)
	require.True(t, math.IsInf(tone.OffsetSigmaHz, 1))

	z.Write([]complex64{complex(float32(math.NaN()), 0)})
	z.Write(make([]complex64, 2000))
	z.Flush()
	_, ok = z.Peak(-1e3, 1e3)
	require.False(t, ok, "what is no number has no peak")
}
