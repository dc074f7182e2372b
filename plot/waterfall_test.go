package plot

import (
	"bytes"
	"image/png"
	"math"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
)

// aFall is a made-up one: a slope, a tone, a line that comes and goes, pulses.
func aFall(rows, columns int) Fall {
	f := Fall{
		Started: time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC), StartHz: 469.8e6, StepHz: 2.4e6 / float64(columns), RowSeconds: 1e-3,
		Channels: []band.Channel{{Number: 14, LowerHz: 470e6}},
		Marks: []Mark{
			{Hz: 470.9e6, Text: "tone at 470.9000 MHz, −52 dBFS"},
			{Hz: 471.4e6, WidthHz: 60e3, Text: "carrier 60 kHz wide at 471.4 MHz"},
			{Hz: 999e6, Text: "elsewhere"},
		},
	}
	for r := range rows {
		row := make([]float32, columns)
		for c := range row {
			hz := f.StartHz + float64(c)*f.StepHz
			db := -118.0
			if hz > 470e6 {
				db = -100 + 10*math.Log10(1e-2+math.Pow(math.Sin(math.Pi/2*math.Min(1, (hz-470e6)/620e3)), 2))
			}
			db += 0.7 * math.Sin(float64(r*7+c*13))
			if math.Abs(hz-470.9e6) < f.StepHz {
				db += 18
			}
			if math.Abs(hz-471.4e6) < 30e3 && r/60%2 == 1 {
				db += 14
			}
			if r%25 == 3 {
				db = math.Max(db, -103)
			}
			row[c] = float32(math.Pow(10, db/10))
		}
		f.Rows = append(f.Rows, row)
	}
	return f
}

// Truth: what a reader of the picture must be able to rely on: it is written in
// all formats, whole or not at all, and says what is on it.
func TestWaterfall(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	f := aFall(400, 512)
	for _, format := range []string{"png", "svg", "pdf"} {
		var b bytes.Buffer
		require.NoError(t, Waterfall(&b, format, f, Options{}), format)
		if format == "svg" {
			require.Contains(t, b.String(), "470.9000")
			require.NotContains(t, b.String(), "elsewhere at")
		}
		if format == "png" {
			img, err := png.Decode(bytes.NewReader(b.Bytes()))
			require.NoError(t, err)
			require.Equal(t, 1600, img.Bounds().Dx())
			if name := os.Getenv("ROOFTONE_PICTURES"); name != "" {
				require.NoError(t, os.WriteFile(name+"/waterfall.png", b.Bytes(), 0o644))
			}
			// The tone's column is darker than what is beside it, all the way.
			x := func(hz float64) int { return int((76 + 504*(hz-f.StartHz)/2.4e6) * 1600 / 720) }
			for _, y := range []int{560, 700, 900} {
				at, _, _, _ := img.At(x(470.9e6+f.StepHz/2), y).RGBA()
				beside, _, _, _ := img.At(x(470.95e6), y).RGBA()
				require.Less(t, at, beside, "row %d", y)
			}
		}
	}
	require.Error(t, Waterfall(&bytes.Buffer{}, "gif", f, Options{}))
	require.Error(t, Waterfall(&bytes.Buffer{}, "png", Fall{}, Options{}))
	f.Rows[3] = f.Rows[3][:5]
	require.Error(t, Waterfall(&bytes.Buffer{}, "png", f, Options{}))
	// Odd ones must not panic.
	for _, g := range []Fall{aFall(1, 2), aFall(2, 5000), aFall(3000, 8)} {
		require.NoError(t, Waterfall(&bytes.Buffer{}, "png", g, Options{}))
	}
	zero := aFall(3, 16)
	for _, row := range zero.Rows {
		clear(row)
	}
	require.NoError(t, Waterfall(&bytes.Buffer{}, "png", zero, Options{}))
}
