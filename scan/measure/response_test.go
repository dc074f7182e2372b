package measure

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

// Truth: theory: an echo of amplitude a makes a response between 20·log₁₀(1 + a) and
// 20·log₁₀(1 − a), with a wave each 1/delay of frequency.
func TestFineResponse(t *testing.T) {
	const a, delayS, stepHz, noise = 0.5, 8.3e-6, 2400.0, 1e-4
	rng := rand.New(rand.NewPCG(3, 3))
	d := &channelDensities{stepHz: stepHz}
	n := &interference{relative: 0.01}
	v := &view{}
	v.spectrum.Averages = 700
	for hz := 0.0; hz < band.WidthHz; hz += stepHz {
		h := cmplx.Abs(1 + cmplx.Rect(a, 2*math.Pi*hz*delayS))
		sent := vsb.Density(hz) * h * h
		d.signal = append(d.signal, sent*(1+rng.NormFloat64()*math.Sqrt(1/v.spectrum.Averages)))
		d.noise = append(d.noise, noise*vsb.Density(band.WidthHz/2))
	}
	waves := func(points []ResponsePoint) (n int) {
		for i := 1; i < len(points); i++ {
			if points[i-1].LevelDB.Value < 0 && points[i].LevelDB.Value >= 0 {
				n++
			}
		}
		return n
	}
	fine := v.responseIn(d, n, finePoints)
	require.Less(t, usualSigma(fine), 0.3)
	_, ripple := tiltAndRipple(fine)
	require.NotNil(t, ripple)
	// Each point is the mean power over 25 kHz, a fifth of a wave, which lowers the
	// wave by the sinc of that.
	const share = math.Pi * delayS * 25e3
	wave := 2 * a * math.Sin(share) / share
	require.InDelta(t, 10*math.Log10((1+a*a+wave)/(1+a*a-wave)), ripple.Value, 0.5)
	seen := fine[len(fine)-1].OffsetHz - fine[0].OffsetHz
	require.InDelta(t, seen*delayS, waves(fine), 1)

	_, coarse := tiltAndRipple(v.responseIn(d, n, responsePoints))
	require.Less(t, coarse.Value, ripple.Value-2, "100 kHz average most of a wave")
}
