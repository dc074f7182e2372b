package psd

import (
	"bufio"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// spectrogramSamples are those that testdata/README.md describes.
func spectrogramSamples() []complex64 {
	x := make([]complex64, 4096)
	for i := range x {
		k := float64(i)
		v := cmplx.Rect(0.5, 2*math.Pi*(0.05*k+2e-5*k*k)) + cmplx.Rect(0.25, -2*math.Pi*0.3*k)
		if i%1000 == 500 {
			v += 0.9 - 0.4i
		}
		x[i] = complex64(v)
	}
	return x
}

func readRows(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	var out [][]float64
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		var row []float64
		for _, word := range strings.Fields(lines.Text()) {
			v, err := strconv.ParseFloat(word, 64)
			require.NoError(t, err)
			row = append(row, v)
		}
		out = append(out, row)
	}
	require.NoError(t, lines.Err())
	return out
}

// Truth: a second implementation, SciPy's spectrogram; the recipe is beside the
// vectors.
func TestWaterfallAsSciPy(t *testing.T) {
	for _, c := range []struct {
		file    string
		n, rows int
		window  Window
	}{
		{"spectrogram.txt", 64, 64, Hann}, // 127 segments do not fit: halved once
		{"spectrogram-bh.txt", 128, 1024, BlackmanHarris},
	} {
		w, err := NewWaterfall(1e6, c.n, c.window, c.rows)
		require.NoError(t, err)
		x := spectrogramSamples()
		for _, k := range []int{1, 63, 500, 7} { // in uneven pieces
			w.Write(x[:k])
			x = x[k:]
		}
		w.Write(x)
		want := readRows(t, c.file)
		require.GreaterOrEqual(t, w.Rows(), len(want))
		for i, row := range want {
			var most float64
			for _, v := range row {
				most = math.Max(most, v)
			}
			for k, v := range row {
				require.InDelta(t, v, float64(w.Row(i)[k]), 2e-6*most, "%s row %d value %d", c.file, i, k)
			}
		}
	}
}

// Truth: theory. White noise of variance σ² has density σ²/rate in every row,
// however often rows were joined, and their number stays within bounds.
func TestWaterfallStaysBounded(t *testing.T) {
	w, err := NewWaterfall(2.4e6, 64, Hann, 16)
	require.NoError(t, err)
	x := make([]complex64, 10007)
	var state uint64 = 1
	uniform := func() float32 {
		state = state*6364136223846793005 + 1442695040888963407
		return float32(state>>40)/(1<<24) - 0.5
	}
	written := 0
	for range 40 {
		for i := range x {
			x[i] = complex(uniform(), uniform())
		}
		w.Write(x)
		written += len(x)
		require.LessOrEqual(t, w.Rows(), 16)
		require.InDelta(t, float64(written)/2.4e6, float64(w.Rows())*w.RowSeconds(), w.RowSeconds()+1e-4)
	}
	for i := range w.Rows() {
		var mean float64
		for _, v := range w.Row(i) {
			mean += float64(v) / 64
		}
		require.InEpsilon(t, 2.0/12/2.4e6, mean, 0.03)
	}
	require.Zero(t, testing.AllocsPerRun(10, func() { w.Write(x) }))
	w.Reset()
	require.Zero(t, w.Rows())
}

func TestWaterfallRefuses(t *testing.T) {
	for _, c := range []struct {
		rate    float64
		n, rows int
		w       Window
	}{
		{0, 64, 16, Hann}, {math.NaN(), 64, 16, Hann}, {1, 63, 16, Hann}, {1, 8, 16, Hann},
		{1, 64, 15, Hann}, {1, 64, 0, Hann}, {1, 64, 16, 99}, {1, 1 << 16, 1 << 16, Hann},
	} {
		_, err := NewWaterfall(c.rate, c.n, c.w, c.rows)
		require.Error(t, err, "%+v", c)
	}
}

func BenchmarkWaterfall(b *testing.B) {
	w, err := NewWaterfall(2.4e6, 1024, Hann, 512)
	require.NoError(b, err)
	x := make([]complex64, 1<<16)
	b.SetBytes(int64(len(x)))
	for b.Loop() {
		w.Write(x)
	}
}
