package air

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: a second implementation. SciPy filtered and decimated tones that were
// sampled at four times the rate (testdata/README.md): what lies beyond half
// the rate shows a whole rate away, as strong as Band says.
func TestFoldingAsDecimated(t *testing.T) {
	var v struct {
		RateHz                    float64
		ToneHz, ToneTurns, Re, Im []float64
	}
	text, err := os.ReadFile("testdata/folding.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &v))
	f := Dongle()
	f.StrayDB = 0
	b := f.Band(600e6, v.RateHz, 40)
	got := make([]complex64, len(v.Re))
	beyond := 0
	for i, hz := range v.ToneHz {
		Tone{Amplitude: turns(v.ToneTurns[i]) * complex(b.Amplitude(hz), 0), Hz: hz}.Add(got, 0, 1/v.RateHz)
		if math.Abs(hz) > v.RateHz/2 {
			beyond++
		}
	}
	require.Greater(t, beyond, 20)
	var wrong, all float64
	for k, z := range got {
		re, im := float64(real(z))-v.Re[k], float64(imag(z))-v.Im[k]
		wrong += re*re + im*im
		all += v.Re[k]*v.Re[k] + v.Im[k]*v.Im[k]
	}
	require.Less(t, DB(wrong/all), -50.)
}
