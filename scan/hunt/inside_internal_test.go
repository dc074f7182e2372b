package hunt

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

// Truth: arithmetic.
func TestQuietRuns(t *testing.T) {
	for _, row := range []struct {
		loud []float64
		want []int
	}{
		{nil, nil},
		{[]float64{0.5, 0.51}, []int{0, 500, 510, 1000}},
		{[]float64{-0.1, 0.2}, []int{200, 1000}},
		{[]float64{0.9, 1.2}, []int{0, 900}},
		{[]float64{0.95, 1.2}, []int{0, 950}},
		{[]float64{0.45, 0.46, 0.5, 0.51}, []int{0, 450, 510, 1000}},      // too little between them
		{[]float64{0.05, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1}, nil}, // hardly anything is left
	} {
		require.Equal(t, row.want, quietRuns(row.loud, 1000, 1000, 100), "%v", row.loud)
	}
}

// Truth: the periodic part of 8-VSB by plain summation, A/53 Part 2: the segment
// sync's line at a multiple of the segment rate against the data's density.
func TestCombIsTheSegmentSync(t *testing.T) {
	for _, k := range []float64{0, 1, 57, 163, 220, 416} {
		var re, im float64
		for i, s := range []float64{5, -5, -5, 5} {
			sin, cos := math.Sincos(-2 * math.Pi * k * float64(i) / 832)
			re += s * cos / 832
			im += s * sin / 832
		}
		want := (re*re + im*im) * vsb.SymbolRateHz / 21
		place, power := comb(k*vsb.SymbolRateHz/832+30, 0)
		require.InDelta(t, k*vsb.SymbolRateHz/832, place, 1e-6)
		require.InDelta(t, want, power, 1e-9+1e-6*want)
	}
}

// Truth: for the two ends common practice and theory: what an equaliser cannot
// resolve is suppressed by threshold less 10 dB (from memory), what fills the
// channel by nothing, and never more by what is wider.
func TestResidue(t *testing.T) {
	require.InDelta(t, -5.2, residueDB(0, 15.2), 1e-9)
	require.InDelta(t, 0, residueDB(6e6, 15.2), 1e-9)
	require.InDelta(t, 0, residueDB(0, 8), 1e-9)
	last := math.Inf(-1)
	for width := 1e3; width < 6e6; width *= 1.3 {
		v := residueDB(width, 15.2)
		require.GreaterOrEqual(t, v, last)
		last = v
	}
	// A predictor of 64 taps loses two of them to a strong sinusoid.
	require.InDelta(t, 10*math.Log10(66./64), idealCostDB(1e9), 1e-3)
	require.InDelta(t, 0, idealCostDB(1e-6), 1e-4)
}

// Truth: what is asked for. Two further tunings show what the spikes of three
// slices hide.
func TestWants(t *testing.T) {
	c := band.Channel{Number: 20, LowerHz: 506e6}
	in := NewInside([]band.Channel{c}, tuner.Info{})
	x := make([]complex64, 60000)
	for i := range x {
		x[i] = complex(float32(i%7)-3, float32(i%5)-2) / 100
	}
	stay := func(hz float64) {
		require.NoError(t, in.Keep(tuner.Block{Samples: x, CenterHz: hz, RateHz: 2.4e6, GainDB: 30}, true))
	}
	for _, hz := range []float64{507e6, 509e6, 511e6} {
		stay(hz)
	}
	wants := in.Wants()
	require.Len(t, wants, 2)
	for _, w := range wants {
		require.InDelta(t, 30, w.GainDB, 0)
		stay(w.CenterHz)
	}
	require.Empty(t, in.Wants())
}

// Truth: what a listener may do: nothing at all, or rates and lengths that no
// radio has.
func TestInsideTakesAnything(t *testing.T) {
	in := NewInside(nil, tuner.Info{})
	require.Empty(t, in.Wants())
	require.Empty(t, in.Suspects(nil, nil))
	require.Error(t, in.Keep(tuner.Block{RateHz: math.NaN()}, true))
	require.Error(t, in.Keep(tuner.Block{RateHz: 0, Samples: make([]complex64, 5)}, true))
	require.NoError(t, in.Keep(tuner.Block{RateHz: 2.4e6, GainDB: math.NaN(), Samples: make([]complex64, 100)}, true))
	require.NoError(t, in.Keep(tuner.Block{RateHz: 2.4e6, GainDB: math.NaN(), Lost: true, Samples: make([]complex64, 100)}, false))
	require.Empty(t, in.Suspects(nil, nil))
	require.NoError(t, in.Keep(tuner.Block{RateHz: 8e6, CenterHz: 509e6, GainDB: math.NaN(), Samples: make([]complex64, 1<<20)}, true)) // silence
	require.Empty(t, in.Suspects(nil, nil))
}

// One stay of 0.3 s, all but what is concluded in the end.
func BenchmarkInsideStay(b *testing.B) {
	in := NewInside([]band.Channel{{Number: 20, LowerHz: 506e6}}, tuner.Info{})
	x := make([]complex64, 720000)
	var state uint64 = 1
	for i := range x {
		state = state*6364136223846793005 + 1442695040888963407
		x[i] = complex(float32(state>>40)/(1<<24)-0.5, float32(state>>20&0xfffff)/(1<<20)-0.5)
	}
	b.SetBytes(int64(len(x)))
	for b.Loop() {
		if err := in.Keep(tuner.Block{Samples: x, CenterHz: 507e6, RateHz: 2.4e6, GainDB: 30}, true); err != nil {
			b.Fatal(err)
		}
	}
}
