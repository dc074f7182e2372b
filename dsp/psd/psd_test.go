package psd

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// codes are the ways to do the work on this machine: plain always, and the
// kernels where the processor can run them.
func codes() map[string]bool {
	if haveLanes() {
		return map[string]bool{"plain": false, "kernels": true}
	}
	return map[string]bool{"plain": false}
}

func random(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

// fillNoise fills x with complex normal noise of the given variance, both
// parts together.
func fillNoise(x []complex64, variance float64, rng *rand.Rand) {
	sigma := math.Sqrt(variance / 2)
	for i := range x {
		x[i] = complex(float32(sigma*rng.NormFloat64()), float32(sigma*rng.NormFloat64()))
	}
}

func noise(n int, variance float64, rng *rand.Rand) []complex64 {
	x := make([]complex64, n)
	fillNoise(x, variance, rng)
	return x
}

// addTone adds a tone of cycles per sample and a phase in cycles.
func addTone(x []complex64, amplitude, cycles, phase float64) {
	for i := range x {
		_, part := math.Modf(cycles*float64(i) + phase)
		x[i] += complex64(cmplx.Rect(amplitude, 2*math.Pi*part))
	}
}

func toDB(power float64) float64 { return 10 * math.Log10(power) }

func meanOf(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// varianceAround is the mean squared distance from a known mean.
func varianceAround(x []float64, mean float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += (v - mean) * (v - mean)
	}
	return sum / float64(len(x))
}

// reference is testdata/scipy.json.
type reference struct {
	RateHz  float64              `json:"rate_hz"`
	IQ      []int                `json:"iq"`
	Windows map[string][]float64 `json:"windows"`
	Welch   []struct {
		Window  string    `json:"window"`
		Segment int       `json:"segment"`
		Density []float64 `json:"density"`
	} `json:"welch"`
}

func scipy(t *testing.T) reference {
	t.Helper()
	text, err := os.ReadFile("testdata/scipy.json")
	require.NoError(t, err)
	var r reference
	require.NoError(t, json.Unmarshal(text, &r))
	return r
}

func (r reference) samples() []complex64 {
	x := make([]complex64, len(r.IQ)/2)
	for i := range x {
		x[i] = complex((float32(r.IQ[2*i])-127.5)/127.5, (float32(r.IQ[2*i+1])-127.5)/127.5)
	}
	return x
}

func windowNamed(t *testing.T, name string) Window {
	t.Helper()
	for w := Hann; w.valid(); w++ {
		if w.String() == name {
			return w
		}
	}
	t.Fatalf("no window %q", name)
	return 0
}
