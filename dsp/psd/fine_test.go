package psd

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: one zoom over both pieces, told of the gap between them.
func TestFineMerge(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	x := make([]complex64, 200000)
	for i := range x {
		x[i] = complex(float32(rng.NormFloat64()), float32(rng.NormFloat64()))
	}
	measure := func(pieces ...[]complex64) *Fine {
		z, err := NewZoom(2.4e6, -690e3, 100e3, 0.02)
		require.NoError(t, err)
		for _, p := range pieces {
			z.Write(p)
			z.Flush()
		}
		return z.Clone()
	}
	both := measure(x[:110000], x[110000:])
	merged := measure(x[:110000])
	require.NoError(t, merged.Merge(measure(x[110000:])))
	require.InDelta(t, both.Averages(), merged.Averages(), 1e-12)
	require.InDelta(t, both.BandwidthHz(), merged.BandwidthHz(), 1e-9)
	a, b := both.Density(nil), merged.Density(nil)
	for i := range a {
		require.InEpsilon(t, a[i], b[i], 1e-12)
	}

	other, err := NewZoom(2.4e6, -690e3, 100e3, 0.03)
	require.NoError(t, err)
	require.Error(t, merged.Merge(&other.Fine))
}
