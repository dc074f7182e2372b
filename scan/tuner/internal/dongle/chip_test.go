package dongle

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// The tables themselves are checked against the real librtlsdr in package usb.
func TestGains(t *testing.T) {
	for chip := ChipUnknown; chip <= R828D+1; chip++ {
		require.True(t, slices.IsSorted(chip.Gains()))
	}
	require.Len(t, R820T.Gains(), 29) // the number its greeting has
	require.Empty(t, FC2580.Gains())
	require.Empty(t, Chip(math.MaxUint32).Gains())
	require.Equal(t, []float64{-9.9, -4, 7.1, 17.9, 19.2}, GainsDB(FC0012.Gains()))

	steps := R820T.Gains()
	for _, c := range []struct {
		db   float64
		want int
	}{
		{-1e300, 0}, {0, 0}, {30, 297}, {49.6, 496}, {1e9, 496},
		{math.Inf(1), 496}, {math.Inf(-1), 0}, {45.9, 445}, {46.3, 480},
	} {
		require.Equal(t, c.want, nearest(steps, c.db), "%v dB", c.db)
	}
}

// Truth: rtl-sdr.h for the limits; the resampler's arithmetic by hand for the
// rates: 28.8 MHz · 2²² / 2.4 MHz = 12 · 2²² is whole, and 28.8 MHz · 2²² /
// 2 MHz = 60397977.6, cut to a multiple of four, is 60397976.
func TestRates(t *testing.T) {
	require.Equal(t, 2.4e6, realRate(2400000))
	require.InDelta(t, 28.8e6*(1<<22)/60397976, realRate(2000000), 1e-6)
	require.InDelta(t, 2000000.053, realRate(2000000), 1e-3)
	require.InDelta(t, 250000, realRate(250000), 0.01)
	for _, hz := range []float64{225001, 250000, 300000, 900001, 1e6, 2.4e6, 3.2e6} {
		require.NoError(t, checkRate(hz))
		require.InEpsilon(t, hz, realRate(uint32(hz)), 1e-6)
	}
	for _, hz := range []float64{0, -1, 225000, 300001, 900000, 3200001, math.NaN(), math.Inf(1)} {
		require.Error(t, checkRate(hz))
	}
}
