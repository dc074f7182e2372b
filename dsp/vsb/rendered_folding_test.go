package vsb

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/render"
)

// Truth: a second implementation. The station rendered at four times the rate,
// filtered by taps that SciPy made of a dongle's pass band (dsp/air/testdata),
// and every fourth sample kept.
func TestRenderedThroughFoldingFilter(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	var v struct {
		RateHz         float64
		Times          int
		TapsRe, TapsIm []float64
	}
	text, err := os.ReadFile("../air/testdata/folding.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &v))
	front := air.Dongle()
	front.StrayDB = 0
	band := front.Band(600e6, v.RateHz, 40)
	w := NewWaveform(3)
	const n, start = 1500, 0.0123
	// Beside the channel little is left but what folds, where the pass band is
	// steepest and 513 taps follow it least well.
	for offset, below := range map[float64]float64{-0.6e6: -45, 1e6: -45, 3e6: -45, 6.9e6: -35} {
		wide, err := NewRenderer(v.RateHz*float64(v.Times), offset)
		require.NoError(t, err)
		step := 1 / v.RateHz
		half := len(v.TapsRe) / 2
		x := make([]complex64, n*v.Times+2*half)
		fine := step / float64(v.Times)
		require.NoError(t, wide.Render(x, w, start-float64(half)*fine, fine))
		want := make([]complex128, n)
		for k := range want {
			for i := range v.TapsRe {
				want[k] += complex(v.TapsRe[i], v.TapsIm[i]) * complex128(x[k*v.Times+2*half-i])
			}
		}
		r, err := NewRendererThrough(render.Filter{Amplitude: band.Amplitude, ReachHz: band.ReachHz()}, v.RateHz, offset)
		require.NoError(t, err)
		got := make([]complex64, n)
		require.NoError(t, r.Render(got, w, start, step))
		var wrong, all float64
		for k, z := range want {
			d := complex128(got[k]) - z
			wrong += real(d)*real(d) + imag(d)*imag(d)
			all += real(z)*real(z) + imag(z)*imag(z)
		}
		require.Less(t, air.DB(wrong/all), below, "slice %g MHz above the lower edge", offset/1e6)
	}
}
