package scan

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

// Truth: the order in which stays were taken, the longest first, so that those after
// it are measured before it.
func TestAnalystAddsInTheOrderHeard(t *testing.T) {
	channels := band.Plans()[0].Channels[:12]
	random := rand.New(rand.NewPCG(1, 2))
	var list listen.Slices
	a := newAnalyst(func() *listen.Slicer { return listen.NewSlicer(channels, tuner.Info{}) }, &list)
	for i, c := range channels {
		b := tuner.Block{CenterHz: c.CenterHz(), RateHz: 2.4e6, GainDB: 20, Samples: a.buffer(240_000 / (1 + 5*(i%3)))}
		for k := range b.Samples {
			b.Samples[k] = complex64(complex(random.NormFloat64(), random.NormFloat64()) * 0.1)
		}
		a.take(c.Number, b)
	}
	require.NoError(t, a.wait())
	require.NoError(t, a.end())
	require.Len(t, list.List(), len(channels))
	for i, s := range list.List() {
		require.Equal(t, channels[i].CenterHz(), s.CenterHz)
	}
}

// Truth: what cannot be measured. The first thing that is wrong is told, nothing that
// follows is added, and nobody waits for ever.
func TestAnalystTellsWhatIsWrong(t *testing.T) {
	channels := band.Plans()[0].Channels[:12]
	var list listen.Slices
	a := newAnalyst(func() *listen.Slicer { return listen.NewSlicer(channels, tuner.Info{}) }, &list)
	for i, c := range channels {
		rate := 2.4e6
		if i == 1 {
			rate = math.NaN()
		}
		a.take(c.Number, tuner.Block{CenterHz: c.CenterHz(), RateHz: rate, Samples: a.buffer(24_000)})
	}
	require.Error(t, a.wait())
	require.Error(t, a.end())
	require.Len(t, list.List(), 1)
}
