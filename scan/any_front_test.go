package scan

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
)

// Truth: the same measurements read twice. The front end of the ensembles and
// that of the simulated dongle were made apart from each other; at the rate at
// which they were measured they are within what a reading is worth.
func TestTwoFrontEndsAreOne(t *testing.T) {
	dongle := air.Dongle()
	dongle.StrayDB = 0
	const rate = 1.92e6
	band := dongle.Band(600e6, rate, 40)
	for share := -1.25; share <= 1.25; share += 0.01 {
		ours, theirs := decibels(math.Pow(band.Amplitude(share*rate/2), 2)), decibels(math.Pow(measuredFront(share), 2))
		require.InDelta(t, theirs, ours, 1, "%g of half the rate", share)
	}
	// At 2.4 MS/s, where the ensembles use it, files differ from each other by more.
	band = dongle.Band(600e6, 2.4e6, 40)
	for _, share := range []float64{-0.9, -0.8, 0.5, 0.85, 0.9} {
		ours, theirs := decibels(band.Power(share*1.2e6)), decibels(math.Pow(measuredFront(share), 2))
		require.InDelta(t, theirs, ours, 1.5, "%g of half the rate", share)
	}
}
