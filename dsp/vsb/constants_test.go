package vsb

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestConstants(t *testing.T) {
	// Truth: the numbers that A/53 Part 2 prints.
	require.InDelta(t, 10.762237762e6, SymbolRateHz, 0.001)
	require.InDelta(t, 309440.559, PilotOffsetHz, 0.001)
	require.InDelta(t, 77.3e-6, SegmentSymbols/SymbolRateHz, 0.05e-6)
	require.InDelta(t, 24.2e-3, FieldSymbols/SymbolRateHz, 0.05e-3)
	require.InDelta(t, 11.3, 10*math.Log10(DataShare/PilotShare), 0.05)
	require.InDelta(t, 0.3, -10*math.Log10(DataShare), 0.05)
	require.Equal(t, 21., LevelMeanSquare)
	require.Equal(t, 728, KnownSymbols)
	require.InDelta(t, 1, pulseHeight*pulseHeight*(LevelMeanSquare+PilotLevel*PilotLevel)/2, 1e-15)
	require.InDelta(t, 620e3, SymbolRateHz/2*RollOff, 100)
}
