package air

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func amplitudeDB(b *Band, offsetHz float64) float64 { return 20 * math.Log10(b.Amplitude(offsetHz)) }

// Truth: measurements. The averaged noise of real dongles at shares of half the
// rate, and what was seen to fold back across the edge, ±2 dB.
func TestDongleIsAsMeasured(t *testing.T) {
	f := Dongle()
	f.StrayDB = 0
	for _, c := range []struct {
		rate, within float64
		dB           map[float64]float64
	}{
		{1.92e6, 0.3, map[float64]float64{
			-0.5: 0.7, 0.5: -0.8, -0.7: -0.1, 0.7: -0.6, -0.8: -1.1, 0.8: -1.7, -0.85: -2.3, 0.85: -2.7,
			-0.9: -3.3, 0.9: -3.4, -0.95: -4, 0.95: -4.5, -1: -4.8, 1: -5,
		}},
		// The mean of three files and a fourth, which differ by up to 5 dB at the edge.
		{2.4e6, 0.4, map[float64]float64{
			-0.5: -0.15, 0.5: 0.15, -0.8: -0.45, 0.8: -0.75, -0.85: -1.75, 0.85: -1.8,
			-0.9: -4.6, 0.9: -3.35, -0.95: -6.9, 0.95: -5.55, -1: -7.25, 1: -7.05,
		}},
	} {
		b := f.Band(600e6, c.rate, 40)
		for share, want := range c.dB {
			require.InDelta(t, want, DB(b.Noise(share*c.rate/2)), c.within, "%g of half of %g", share, c.rate)
		}
		for _, side := range []float64{-1, 1} {
			down := -amplitudeDB(b, side*0.875*c.rate/2)
			require.True(t, down > 2.5 && down < 4, "%g dB down at %g of half of %g", down, 0.875*side, c.rate)
		}
	}
	b := f.Band(600e6, 1.92e6, 40)
	for share, want := range map[float64]float64{1.04: -10, 1.08: -13, 1.12: -15, 1.16: -21, 1.2: -25} {
		require.InDelta(t, want, amplitudeDB(b, share*0.96e6), 0.1)
		require.InDelta(t, want, amplitudeDB(b, -share*0.96e6), 0.1)
	}
	require.Zero(t, b.Amplitude(b.ReachHz()+1))
}

// Truth: a second implementation. SciPy 1.10's PchipInterpolator through the
// points in decibels, at shares of half of 1.92 MS/s.
func TestBandFollowsItsPoints(t *testing.T) {
	f := Dongle()
	f.StrayDB = 0
	b := f.Band(600e6, 1.92e6, 40)
	for share, want := range map[float64]float64{
		-1.25: -28.7100, -1.1: -13.9250, -1.02: -8.8601, -0.875: -3.0500, -0.6: 0.4500, -0.3: 0.5253, 0.2: -0.3891,
		0.55: -0.7687, 0.75: -0.9596, 0.875: -3.2672, 0.97: -6.5789, 1.06: -11.5, 1.18: -23.1776, 1.4: -38.7523,
	} {
		require.InDelta(t, want, amplitudeDB(b, share*0.96e6), 0.02, "%g of half the rate", share)
	}
}

// Truth: what was published of the demodulator's filter; and that it is in the
// curves, so that it shows only at rates beyond theirs.
func TestDemodulatorsFilter(t *testing.T) {
	f := Dongle()
	f.StrayDB = 0
	for hz, want := range map[float64]float64{0: 0, 1.2e6: -3.0, 1.4e6: -5.3, 2e6: -20.6} {
		require.InDelta(t, want, DB(f.tapsPower(hz)), 0.06, "%g Hz", hz)
	}
	bare := f
	bare.Taps = nil
	for rate, want := range map[float64]float64{1.92e6: 0, 2.2e6: 0, 2.4e6: 0, 3.2e6: 3.0, 1.024e6: -1} {
		more := amplitudeDB(bare.Band(600e6, rate, 40), 0.97*rate/2) - amplitudeDB(f.Band(600e6, rate, 40), 0.97*rate/2)
		want := want
		switch rate {
		case 3.2e6:
			want = DB(f.tapsPower(0.97*1.2e6) / f.tapsPower(0.97*1.6e6))
		case 1.024e6:
			want = DB(f.tapsPower(0.97*0.96e6) / f.tapsPower(0.97*0.512e6))
		}
		require.InDelta(t, want, more, 1e-3, "%g MS/s", rate/1e6)
	}
}

// Truth: the definitions of what strays, folds more and hums.
func TestFrontEndStrays(t *testing.T) {
	f := Dongle()
	still := f
	still.StrayDB = 0
	base := still.Band(600e6, 2.4e6, 40)
	var most, byGain float64
	for k := range 200 {
		f.Seed = uint64(k % 5)
		hz := 470e6 + float64(k)*1e6
		b := f.Band(hz, 2.4e6, 40)
		for _, share := range []float64{-1.1, -0.8, -0.3, 0.3, 0.8, 1.1} {
			moved := amplitudeDB(b, share*1.2e6) - amplitudeDB(base, share*1.2e6)
			require.LessOrEqual(t, math.Abs(moved), math.Abs(share)*f.StrayDB+0.01)
			most = math.Max(most, math.Abs(moved))
		}
		byGain = math.Max(byGain, math.Abs(amplitudeDB(b, 0.8e6)-amplitudeDB(f.Band(hz, 2.4e6, 10), 0.8e6)))
		require.InDelta(t, 0, amplitudeDB(b, 0), 0.01)
	}
	require.Greater(t, most, 0.3)
	require.Greater(t, byGain, 0.05)

	more := still
	more.FoldDB = 10
	b := more.Band(600e6, 2.4e6, 40)
	for share, want := range map[float64]float64{-0.95: 0, 0.5: 0, 1: 5, -1.05: 10, 1.2: 10} {
		require.InDelta(t, want, amplitudeDB(b, share*1.2e6)-amplitudeDB(base, share*1.2e6), 0.05)
	}
	hum := ZeroIF()
	hum.StrayDB = 0
	b = hum.Band(600e6, 2.4e6, 40)
	require.InDelta(t, base.Noise(232e3)+1, b.Noise(232e3), 1e-3)
	require.InDelta(t, base.Noise(-115.5e3)+2, b.Noise(-115.5e3), 1e-2)

	none := (&FrontEnd{}).Band(600e6, 2.4e6, 40)
	require.Equal(t, 1., none.Amplitude(1e6))
	require.Equal(t, 1., none.Noise(1e6))
}

// Truth: theory. Samples of a half-band filter's output, kept every other one,
// have white noise again when amplitudes on either side of the edge add to 1;
// there are then 6 dB less at the edge itself, 3 dB less of noise.
func TestWide(t *testing.T) {
	f := Wide()
	f.StrayDB = 0
	b := f.Band(600e6, 10e6, 40)
	for _, share := range []float64{0, 0.5, 0.8, 0.85, 0.9, 0.95, 1} {
		require.InDelta(t, 1, b.Amplitude(share*5e6)+b.Amplitude((2-share)*5e6), 2e-3, "%g", share)
	}
	require.InDelta(t, -6.02, amplitudeDB(b, 5e6), 0.01)
	require.InDelta(t, -3.01, DB(b.Noise(5e6)), 0.01)
	require.InDelta(t, amplitudeDB(b, 4.3e6), amplitudeDB(f.Band(600e6, 2.5e6, 40), 4.3e6/4), 1e-9, "shares at all rates")
}
