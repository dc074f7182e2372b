package vsb

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestWaveformFraming(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: A/53 Part 2, 5.3: syncs in their places, data on eight levels,
	// the two kinds of field in turn, the precode symbols repeated.
	w := NewWaveform(3)
	for _, field := range []int64{-3, -2, -1, 0, 1, 2, 12345} {
		x := make([]float32, FieldSymbols)
		w.Symbols(x, field*FieldSymbols)
		want, known := FieldSync(field%2 == 0)
		for i := range SegmentSymbols {
			if known[i] {
				require.Equal(t, want[i], x[i], "field %d, symbol %d", field, i)
			} else if i < 820 {
				require.Equal(t, 5., math.Abs(float64(x[i])), "reserved symbols have two levels")
			}
		}
		before := make([]float32, 12)
		w.Symbols(before, field*FieldSymbols-12)
		require.Equal(t, before, x[820:832])
		for s := SegmentSymbols; s < len(x); s += SegmentSymbols {
			require.Equal(t, []float32{5, -5, -5, 5}, x[s:s+4])
			for _, v := range x[s : s+SegmentSymbols] {
				require.Contains(t, []float32{-7, -5, -3, -1, 1, 3, 5, 7}, v)
			}
		}
	}
}

func TestWaveformFromAnyIndex(t *testing.T) {
	// Truth: the definition. A symbol is the same however it is asked for.
	w := NewWaveform(4)
	const first = -3*SegmentSymbols - 11
	whole := make([]float32, 320*SegmentSymbols)
	w.Symbols(whole, first)
	for _, n := range []int{1, 7, 831, 832, 833, 5000} {
		part := make([]float32, n)
		for at := 0; at+n <= len(whole); at += n + 4177 {
			w.Symbols(part, first+int64(at))
			require.Equal(t, whole[at:at+n], part)
		}
	}
	again := make([]float32, len(whole))
	NewWaveform(4).Symbols(again, first)
	require.Equal(t, whole, again)
}

// dataOf returns the data symbols of some fields, unbroken by syncs.
func dataOf(w *Waveform, fields int64) []float64 {
	var data []float64
	x := make([]float32, SegmentSymbols)
	for s := range fields * FieldSegments {
		if s%FieldSegments == 0 {
			continue
		}
		w.Symbols(x, s*SegmentSymbols)
		for _, v := range x[4:] {
			data = append(data, float64(v))
		}
	}
	return data
}

func TestWaveformDataIsRandom(t *testing.T) {
	// Truth: theory. Levels are equally frequent, and symbols have nothing to
	// do with each other, with the same place in other segments, or with
	// another station's. Limits are five standard deviations.
	data := dataOf(NewWaveform(6), 4)
	n := float64(len(data))
	count := map[float64]float64{}
	for _, v := range data {
		count[v]++
	}
	chi2 := 0.
	for _, c := range count {
		chi2 += (c - n/8) * (c - n/8) / (n / 8)
	}
	require.Len(t, count, 8)
	require.Less(t, chi2, 7+5*math.Sqrt(14))
	same := func(a, b []float64) float64 {
		sum := 0.
		for i := range b {
			sum += a[i] * b[i]
		}
		return sum / LevelMeanSquare / math.Sqrt(float64(len(b)))
	}
	for _, lag := range []int{1, 2, 3, 15, 16, 17, 20, 21, 64, 812, 828, 844, 1656, 828 * 312} {
		require.Less(t, math.Abs(same(data, data[lag:])), 5., "lag %d", lag)
	}
	for _, seed := range []uint64{0, 5, 7, 6 + 1<<32} {
		require.Less(t, math.Abs(same(data, dataOf(NewWaveform(seed), 4))), 5., "seed %d", seed)
	}
}

func BenchmarkSymbols(b *testing.B) {
	w := NewWaveform(1)
	x := make([]float32, blockSymbols)
	first := int64(0)
	for b.Loop() {
		w.Symbols(x, first)
		first += blockSymbols - 2*guardSymbols
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/blockSymbols, "ns/symbol")
}
