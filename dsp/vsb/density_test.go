package vsb

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDensityHasThePowerOfData(t *testing.T) {
	// Truth: theory. The integral of the density, summed here in small steps.
	for _, c := range []struct{ low, high float64 }{
		{-1e6, 7e6}, {0, 6e6}, {-0.05e6, 2.05e6}, {1.95e6, 4.05e6}, {3.95e6, 6.05e6}, {0.25e6, 0.37e6}, {5.9e6, 9e6}, {6.1e6, 7e6},
	} {
		const steps = 200000
		sum := 0.
		for i := range steps {
			sum += Density(c.low+(c.high-c.low)*(float64(i)+0.5)/steps) * (c.high - c.low) / steps
		}
		require.InDelta(t, sum, DataPower(c.low, c.high), 1e-7, "%v", c)
	}
	require.InDelta(t, DataShare, DataPower(-1e6, 7e6), 1e-12)
}

func TestDensityShape(t *testing.T) {
	// Truth: A/53 Part 2, 5.4: half power at the pilot and as far below the
	// upper edge, nothing beyond the edges (but for 511 Hz, by which the
	// standard's roll-off is rounded up), flat between the skirts.
	flat := Density(3e6)
	require.InDelta(t, flat/2, Density(PilotOffsetHz), 1e-9*flat)
	require.InDelta(t, flat/2, Density(6e6-PilotOffsetHz), 1e-9*flat)
	require.InDelta(t, flat, Density(0.62e6), 1e-12*flat)
	require.InDelta(t, flat, Density(5.38e6), 1e-12*flat)
	require.Zero(t, Density(-600))
	require.Zero(t, Density(6e6+600))
	require.Less(t, Density(0), 2e-6*flat)
	require.InDelta(t, DataShare, flat*SymbolRateHz/2, 1e-12)
}

func TestDensityOfSecondImplementation(t *testing.T) {
	// Truth: a second implementation. The spectrum of GNU Radio's encoder and
	// pulse, known to 0.06 dB a cell, on skirts that fall by 25 dB.
	var worst float64
	for _, c := range readDensity(t) {
		want := c.density * DataShare
		d := 10 * math.Log10(DataPower(c.lowHz, c.highHz)/(c.highHz-c.lowHz)/want)
		require.InDelta(t, 0, d, 0.3, "%v", c)
		worst = math.Max(worst, math.Abs(d))
	}
	t.Logf("largest difference %.2f dB", worst)
}
