package dongle

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the definitions. At the frequency that is asked for both kinds of library
// choose one setting, it is near what was wanted, and its middle is where the
// oscillator stands less the intermediate frequency. What the real library does with
// it is seen on the simulated USB bus (scan/tuner/usb/usbtest).
func TestPlaceIsKnown(t *testing.T) {
	for _, rate := range []float64{2.4e6, 2.048e6, 1e6, 3.2e6} {
		for hz := 27e6; hz < 1.76e9; hz += 9_234_567 {
			p := R820T.place(hz, rate)
			require.InDelta(t, hz, p.hz, reach, "%.0f at %.0f", hz, rate)
			offset, read := intermediate(rate)
			lo := uint64(p.ask) + offset
			div := divider(lo)
			n := rounded(lo * div)
			require.Equal(t, n, countedKHz(lo*div))
			require.InDelta(t, float64(lo*div), float64(n)*57.6e6/65536, 57.6e6/65536/2+1)
			require.InDelta(t, p.hz+read, float64(n)*57.6e6/65536/float64(div), 1e-3)
		}
	}
	for _, c := range []Chip{ChipUnknown, E4000, R828D} {
		require.Equal(t, place{123456789, 123456789}, c.place(123456789.4, 2.4e6))
	}
}

// No frequency is too odd to ask for.
func TestPlaceOfAnything(t *testing.T) {
	for _, hz := range []float64{1, 1e3, 900, 1e6, 23e6, 1.77e9, 2e9, 4e9, math.MaxUint32} {
		p := R820T.place(hz, 2.4e6)
		require.InDelta(t, hz, float64(p.ask), reach)
		require.False(t, math.IsNaN(p.hz) || math.IsInf(p.hz, 0))
	}
}
