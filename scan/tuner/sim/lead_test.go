package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: Friis's formula by hand, and that a lossy lead at 290 K takes its loss from
// C/N where no noise comes from outside.
func TestLeadAndOutside(t *testing.T) {
	thermal := func(change func(*Town)) float64 {
		town, err := Bench(20)
		require.NoError(t, err)
		change(&town)
		radio, err := New(town, Options{})
		require.NoError(t, err)
		x, err := radio.Truth(14)
		require.NoError(t, err)
		return x.ThermalDBm
	}
	power := func(dB float64) float64 { return math.Pow(10, dB/10) }
	plain := thermal(func(*Town) {})
	require.InDelta(t, 8, thermal(func(town *Town) { town.Lead = &Lead{8} })-plain, 1e-9)

	unit := plain - 6 // k·290 K·6 MHz: the radio has a noise figure of 6 dB
	got := thermal(func(town *Town) { town.Outside = &Outside{NoiseDB: 10} })
	require.InDelta(t, 10*math.Log10(power(6)+power(10)), got-unit, 0.01)
	got = thermal(func(town *Town) { town.Outside = &Outside{NoiseDB: 10, SlopeDB: 20} })
	require.InDelta(t, 10*math.Log10(power(6)+power(10-20*math.Log10(4.73))), got-unit, 0.01)
	got = thermal(func(town *Town) {
		town.Lead, town.Preamplifier = &Lead{8}, &Preamplifier{GainDB: 20, NoiseFigureDB: 3}
	})
	require.InDelta(t, 10*math.Log10(power(3)+(power(14)-1)/100), got-unit, 0.01)
}
