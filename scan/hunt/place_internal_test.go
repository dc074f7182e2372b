package hunt

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// hearTone is what an Inside makes of noise with a tone in a lone channel.
func hearTone(t *testing.T, r *rand.Rand, trueHz, ppm float64, clock *measure.Clock) []Suspect {
	t.Helper()
	const rate, center = 2.4e6, 521e6
	c := band.Channel{Number: 22, LowerHz: 518e6}
	turn := (trueHz/(1+ppm*1e-6) - center) / rate
	x := make([]complex64, int(0.06*rate))
	for i := range x {
		sin, cos := math.Sincos(2 * math.Pi * math.Mod(turn*float64(i), 1))
		x[i] = complex(float32(0.1*r.NormFloat64()+0.02*cos), float32(0.1*r.NormFloat64()+0.02*sin))
	}
	in := NewInside([]band.Channel{c}, tuner.Info{})
	require.NoError(t, in.Keep(tuner.Block{Samples: x, CenterHz: center, RateHz: rate, GainDB: math.NaN()}, true))
	return in.Suspects(clock, []measure.Reading{{Channel: c, Presence: measure.Vacant, Seen: []band.Span{{LowHz: 519.95e6, HighHz: 522.05e6}}}})
}

// Truth: arithmetic. Whatever the radio's clock is off by, the place of a tone
// is told with an interval that holds it, and with no digit more than is known.
func TestPlaceWithoutAClock(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	r := rand.New(rand.NewPCG(51, 52))
	const hz = 520.3e6
	for range 12 {
		ppm := listen.MaxPPM * (2*r.Float64() - 1)
		found := hearTone(t, r, hz, ppm, nil)
		require.Len(t, found, 1)
		require.Equal(t, "tone at 520.3 MHz", found[0].Name)
		f := found[0].FrequencyHz
		require.InDelta(t, hz, f.Value, 2*f.Sigma)
		require.InDelta(t, listen.MaxPPM*1e-6*hz/math.Sqrt(3), f.Sigma, 100)

		found = hearTone(t, r, hz, ppm, &measure.Clock{PPM: measure.Estimate{Value: ppm, Sigma: 0.05}})
		require.Len(t, found, 1)
		require.Equal(t, "tone at 520.3000 MHz", found[0].Name)
		require.InDelta(t, hz, found[0].FrequencyHz.Value, 3*found[0].FrequencyHz.Sigma)
	}
}

// Truth: made-up values.
func TestMegahertz(t *testing.T) {
	for sigma, want := range map[float64]string{
		0: "533.2134 MHz", 39: "533.2134 MHz", 120: "533.213 MHz", 18e3: "533.2 MHz", 300e3: "533 MHz", 3e6: "533 MHz",
	} {
		require.Equal(t, want, Megahertz(measure.Estimate{Value: 533.21342e6, Sigma: sigma}))
	}
}
