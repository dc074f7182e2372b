package psd

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSpectrumPower(t *testing.T) {
	// Truth: arithmetic on steps of 10 Hz from 95 to 145 Hz.
	s := Spectrum{StartHz: 100, StepHz: 10, Density: []float64{1, 2, 3, 4, math.NaN()}}
	for _, c := range []struct {
		name      string
		low, high float64
		want      float64 // NaN: not ok
	}{
		{"one step", 95, 105, 10},
		{"all measured steps", 95, 135, 100},
		{"parts of two steps", 103, 107, 2*1 + 2*2},
		{"part of one step", 118, 119, 3},
		{"into the gap", 130, 136, math.NaN()},
		{"in the gap", 138, 139, math.NaN()},
		{"below the grid", 94, 100, math.NaN()},
		{"above the grid", 140, 146, math.NaN()},
		{"backwards", 120, 110, math.NaN()},
		{"empty", 120, 120, math.NaN()},
		{"no number", math.NaN(), 120, math.NaN()},
		{"no end", 100, math.Inf(1), math.NaN()},
	} {
		power, ok := s.Power(c.low, c.high)
		require.Equal(t, !math.IsNaN(c.want), ok, c.name)
		if ok {
			require.InDelta(t, c.want, power, 1e-9, c.name)
		} else {
			require.True(t, math.IsNaN(power), c.name)
		}
	}
	require.Equal(t, 120.0, s.At(2))

	// Neighbouring bands add up, on a grid that no number of bits holds.
	s = Spectrum{StartHz: 506.31e6 - 1.2e6, StepHz: 2.4e6 / 1024, Density: make([]float64, 1024)}
	for i := range s.Density {
		s.Density[i] = float64(i)
	}
	low, high := s.At(0)-s.StepHz/2, s.At(1023)+s.StepHz/2
	all, ok := s.Power(low, high)
	require.True(t, ok)
	first, ok := s.Power(low, 506.1234e6)
	require.True(t, ok)
	second, ok := s.Power(506.1234e6, high)
	require.True(t, ok)
	require.InEpsilon(t, all, first+second, 1e-9)

	_, ok = (&Spectrum{}).Power(0, 1)
	require.False(t, ok)
}
