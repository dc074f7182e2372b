package vsb

import (
	"math"
	"math/cmplx"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// readStay reads one of the second implementation's stays.
func readStay(t testing.TB, name string) []complex64 {
	raw, err := os.ReadFile(vectors + name)
	require.NoError(t, err)
	x := make([]complex64, len(raw)/2)
	for i := range x {
		x[i] = complex((float32(raw[2*i])-127.5)/127.5, (float32(raw[2*i+1])-127.5)/127.5)
	}
	return x
}

// secondStay is a stay of the second implementation.
type secondStay struct {
	name              string
	offset, edge, ppm float64
	cn                float64
	paths             []arrival
}

func (s secondStay) fit(t *testing.T, know Knowledge) *Training {
	tr, err := NewTrainer(2.4e6, s.offset)
	require.NoError(t, err)
	know.CenterHz = s.edge + s.offset
	got, err := tr.Fit(readStay(t, s.name), know)
	require.NoError(t, err)
	return got
}

// mer is the true modulation error ratio in what a fit covers.
func (s secondStay) mer(got *Training) float64 {
	const count = 200
	var mean, total float64
	for k := range count {
		hz := s.edge + got.LowHz + (float64(k)+0.5)/count*(got.HighHz-got.LowHz)
		var h complex128
		for _, p := range s.paths {
			h += p.gain * turn(-hz*p.delay)
		}
		mean += norm2([]complex128{h}) / count
	}
	for _, p := range s.paths {
		total += norm2([]complex128{p.gain})
	}
	return s.cn + 10*math.Log10(MERPerCN*mean/total)
}

func TestFitOfSecondImplementation(t *testing.T) {
	// Truth: a second implementation. GNU Radio's coder and pulse, SciPy's
	// filter, resampler and noise, at stated C/N and clock errors, of which the
	// fit is told nothing.
	flat := []arrival{{0, 1}}
	echoes := []arrival{{0, decibels(0, 0.3)}, {3.3e-6, decibels(-9, 1.1)}, {-1.2e-6, decibels(-14, -2)}}
	var channel []*Training
	for _, s := range []secondStay{
		{"flat-24db-3mhz.cu8", 3e6, 560e6, 0, 24, flat},
		{"flat-6db-5mhz.cu8", 5e6, 182e6, -25, 6, flat},
		{"echoes-17db-1mhz.cu8", 1e6, 482e6, 40, 17, echoes},
		{"echoes-17db-3mhz.cu8", 3e6, 482e6, 40, 17, echoes},
		{"echoes-17db-5mhz.cu8", 5e6, 482e6, 40, 17, echoes},
	} {
		got := s.fit(t, Knowledge{})
		t.Logf("%s: %.2f ± %.2f dB, true %.2f; clock %.3f ± %.3f ppm, carrier %.0f ± %.0f Hz; false alarm %.0g",
			s.name, got.MERdB, got.MERSigmaDB, s.mer(got), got.ClockPPM, got.ClockSigmaPPM, got.CarrierHz, got.CarrierSigmaHz, got.FalseAlarm)
		require.True(t, got.Found)
		require.Less(t, got.FalseAlarm, 1e-20)
		require.Equal(t, 2, got.Fields)
		require.InDelta(t, s.mer(got), got.MERdB, 1)
		require.InDelta(t, s.ppm, got.ClockPPM, 3.5*got.ClockSigmaPPM)
		require.InDelta(t, -s.ppm*1e-6*(s.edge+s.offset), got.CarrierHz, 3.5*got.CarrierSigmaHz)

		// The same, told the clock.
		again := s.fit(t, Knowledge{ClockPPM: s.ppm + 0.5, RangePPM: 1})
		require.InDelta(t, got.MERdB, again.MERdB, 0.1)
		if len(s.paths) > 1 {
			channel = append(channel, got)
		}
	}
	p, err := Echoes(channel...)
	require.NoError(t, err)
	t.Logf("%+v", p.Echoes)
	require.Len(t, p.Echoes, 2)
	for i, want := range []arrival{echoes[2], echoes[1]} {
		require.InDelta(t, want.delay*1e6, p.Echoes[i].DelaySeconds*1e6, 0.02)
		require.InDelta(t, 20*math.Log10(cmplx.Abs(want.gain)), p.Echoes[i].LevelDB, 0.5)
	}
	require.False(t, p.StrongestMerged)
	mer, sigma := JoinMER(channel...)
	t.Logf("joined: %.2f ± %.2f dB", mer, sigma)
	require.InDelta(t, 17+10*math.Log10(MERPerCN), mer, 0.6)
}
