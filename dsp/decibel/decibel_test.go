package decibel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the definition.
func TestDefinition(t *testing.T) {
	for _, c := range []struct{ power, db float64 }{{1, 0}, {10, 10}, {0.5, -3.0102999566398120}, {1e-6, -60}} {
		require.InDelta(t, c.db, Of(c.power), 1e-12)
		require.InEpsilon(t, c.power, Power(c.db), 1e-12)
	}
	require.True(t, math.IsInf(Of(0), -1))
	require.InDelta(t, 1e-3*PerNeper, Of(1.001), 1e-5)
}
