package plot

import (
	"bytes"
	"image/png"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
	"rooftone/scan/band"
)

// Truth: arithmetic on a spectrum whose every column is known.
func TestEnvelope(t *testing.T) {
	s := &psd.Spectrum{StartHz: 1000, StepHz: 10, Density: make([]float64, 100)}
	for i := range s.Density {
		s.Density[i] = 1e-10 * float64(1+i%10)
	}
	for i := 40; i < 60; i++ {
		s.Density[i] = math.NaN()
	}
	s.Density[70], s.Density[71] = math.Inf(1), 0
	runs := envelope(s, 1000, 2000, 100)
	require.Len(t, runs, 2)
	require.Len(t, runs[0], 4)
	require.Len(t, runs[1], 4)
	for _, run := range runs {
		for _, c := range run {
			if c.hz > 1700 && c.hz < 1800 {
				continue // the column with what is no density
			}
			require.InDelta(t, -100, c.low, 1e-9)
			require.InDelta(t, -90, c.high, 1e-9)
			require.InDelta(t, -100+10*math.Log10(5.5), c.mean, 1e-9)
		}
	}
	require.InDelta(t, 1050, runs[0][0].hz, 1e-9)
	require.InDelta(t, 1650, runs[1][0].hz, 1e-9)

	// A column is never narrower than a value, so a coarse spectrum has no
	// gaps of the picture's making.
	require.Len(t, envelope(s, 1000, 1400, 0.1), 1)
	require.Empty(t, envelope(s, 0, 500, 10))
	require.Empty(t, envelope(s, 5000, 6000, 10))
	require.Empty(t, envelope(nil, 0, 1, 1))
	require.Empty(t, envelope(&psd.Spectrum{Density: []float64{1}}, 0, 1, 1))
}

// Truth: 47 CFR 73.603 for what is left out of the street.
func TestStreet(t *testing.T) {
	p, err := band.ParsePlan("us")
	require.NoError(t, err)
	s := layStreet(p.Channels, 100, 700, 1000)
	require.Len(t, s.blocks, 3)
	for i, want := range [][2]float64{{54e6, 88e6}, {174e6, 216e6}, {470e6, 608e6}} {
		require.Equal(t, want, [2]float64{s.blocks[i].lowHz, s.blocks[i].highHz})
	}
	require.InDelta(t, 100, s.blocks[0].x0, 1e-9)
	require.InDelta(t, 700, s.blocks[2].x1, 1e-9)
	last := 0.0
	for _, c := range p.Channels {
		x0, x1 := s.span(c)
		require.GreaterOrEqual(t, x0, last-1e-9)
		require.InDelta(t, s.lot(), x1-x0, 1e-9)
		last = x1
	}
	_, ok := s.x(300e6)
	require.False(t, ok)

	few := layStreet(p.Channels[:2], 100, 700, 50)
	require.InDelta(t, 50, few.lot(), 1e-9)
	require.InDelta(t, 350, few.blocks[0].x0, 1e-9)
	require.InDelta(t, 100, few.from(100).blocks[0].x0, 1e-9)
	require.Empty(t, layStreet(nil, 0, 1, 1).from(3).blocks)
}

// Truth: the plan's bands: they are not parted when they need not be.
func TestRowsOfChannels(t *testing.T) {
	p, err := band.ParsePlan("us")
	require.NoError(t, err)
	parts := rowsOf(p.Channels)
	require.Len(t, parts, 3)
	require.Equal(t, 13, parts[0][len(parts[0])-1].Number)
	require.Contains(t, []int{11, 12}, len(parts[1]))
	require.Len(t, rowsOf(p.Channels[:1]), 1)
	require.Len(t, rowsOf(p.Channels[:5]), 1)
}

// Truth: our own promise: pictures stay small whatever the spectrum's grid.
func TestSpectrumPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for _, step := range []float64{100e3, 500} {
		s := withSpectrum(saltmarsh(), step)
		for _, format := range []string{"png", "svg", "pdf"} {
			var b, again bytes.Buffer
			require.NoError(t, Spectrum(&b, format, s, Options{}))
			require.Less(t, b.Len(), 600_000, "%s of a %v Hz grid", format, step)
			require.NoError(t, Spectrum(&again, format, s, Options{}))
			require.True(t, bytes.Equal(b.Bytes(), again.Bytes()))
			switch format {
			case "png":
				img, err := png.Decode(&b)
				require.NoError(t, err)
				require.Equal(t, 1600, img.Bounds().Dx())
			case "svg":
				require.NoError(t, wellFormed(b.Bytes()))
			}
		}
	}
}

// Truth: arithmetic: the axis holds the data, in steps of ten.
func TestDensityRange(t *testing.T) {
	s := withSpectrum(saltmarsh(), 20e3)
	low, high := densityRange(s, []street{layStreet(channelsOf(lots(s)), 0, 600, 100)})
	require.Zero(t, math.Mod(low, 10))
	require.Zero(t, math.Mod(high, 10))
	require.Less(t, low, -52-decibels(band.WidthHz))
	require.Greater(t, high, -70.0)
	require.LessOrEqual(t, high-low, 100.0)

	for i := range s.Spectrum.Density {
		s.Spectrum.Density[i] = math.NaN()
	}
	low, high = densityRange(s, []street{layStreet(channelsOf(lots(s)), 0, 600, 100)})
	require.Less(t, low, high)
}

// Truth: our own promise: a lot without a spectrum says so.
func TestMissingSpectrumIsSaid(t *testing.T) {
	s := withSpectrum(saltmarsh(), 20e3)
	for i := first(s.Spectrum, 476e6); i < first(s.Spectrum, 482e6); i++ { // channel 15
		s.Spectrum.Density[i] = math.NaN()
	}
	n := map[string]int{}
	for _, l := range drawn(func(p *pen) { drawSpectrum(p, s, lots(s), Options{}) }).labels {
		n[l.text]++
	}
	require.Equal(t, 1, n["not in the spectrum"])
	require.Equal(t, 2, n["not covered"])
}
