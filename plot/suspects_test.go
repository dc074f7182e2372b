package plot

import (
	"bytes"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
	"rooftone/scan/band"
	"rooftone/scan/hunt"
)

// someSuspects are invented.
func someSuspects(t *testing.T) []hunt.Suspect {
	t.Helper()
	p, err := band.ParsePlan("us")
	require.NoError(t, err)
	channel := func(n int) band.Channel {
		c, ok := p.Channel(n)
		require.True(t, ok)
		return c
	}
	return []hunt.Suspect{
		{Kind: hunt.Impulses, Name: "impulse noise with the mains at 120 Hz in the UHF band", LevelDBFS: est(-48, 1), RateHz: est(120, 0.1), MainsHz: 120,
			Harms: []hunt.Harm{{Channel: channel(21), CostDB: est(3.1, 0.3), Breaks: true}, {Channel: channel(30), CostDB: est(2.6, 0.3)}, {Channel: channel(14), CostDB: est(2, 0.3)}, {Channel: channel(33), CostDB: est(1, 0.3)}}},
		{Kind: hunt.Tone, Name: "tone at 533.2100 MHz", FrequencyHz: est(533.21e6, 3), LevelDBFS: est(-41, 0.2),
			Harms: []hunt.Harm{{Channel: channel(24), CostDB: est(1.2, 0.5)}}},
		{Kind: hunt.Carrier, Name: "carrier 12 kHz wide at 533.900 MHz", FrequencyHz: est(533.9e6, 3e3), WidthHz: 12e3, LevelDBFS: est(-44, 0.2),
			Harms: []hunt.Harm{{Channel: channel(24), CostDB: est(0.7, 0.4)}}},
		{Kind: hunt.CoChannel, Name: "a second station on channel 9", LevelDBFS: est(-50, 1), Harms: []hunt.Harm{{Channel: channel(9), CostDB: est(4, 0.4)}}},
		{Kind: hunt.Spur, Name: "the radio's own tone at 201.6000 MHz", FrequencyHz: est(201.6e6, 20), LevelDBFS: est(-60, 0.2), Evidence: []string{"it is 7 times the radio's clock of 28.8 MHz"}},
	}
}

// Truth: what a reader of the picture must be able to rely on: every suspect is
// named in it, in the order given, and it is written whole or not at all.
func TestSuspects(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	s := surveyOf("us", lotOf{number: 9, margin: 5}, lotOf{number: 21, margin: -1}, lotOf{number: 24, margin: 11}, lotOf{number: 30, margin: 14})
	s.Spectrum = &psd.Spectrum{StartHz: 54e6, StepHz: 20e3, Averages: 50, Density: make([]float64, 27700)}
	for i := range s.Spectrum.Density {
		hz := s.Spectrum.At(i)
		s.Spectrum.Density[i] = 1e-12
		for _, c := range s.Channels {
			if n := c.Channel.Number; (n == 9 || n == 21 || n == 24 || n == 30) && hz > c.Channel.LowerHz+3e5 && hz < c.Channel.UpperHz()-3e5 {
				s.Spectrum.Density[i] = 3e-11 * (1 + float64(i%7)/20)
			}
		}
		if hz > 533.2e6 && hz < 533.22e6 {
			s.Spectrum.Density[i] = 1e-9
		}
	}
	list := someSuspects(t)
	for _, format := range []string{"png", "svg", "pdf"} {
		var b bytes.Buffer
		require.NoError(t, Suspects(&b, format, s, list, Options{}), format)
		if format == "svg" {
			for _, text := range []string{"tone at 533.2100 MHz, −41 dBFS", "breaks channel 21", "costs 1.2 dB on channel 24", "and 1 more", "harms no channel"} {
				require.Contains(t, b.String(), text)
			}
		}
		if name := os.Getenv("ROOFTONE_PICTURES"); name != "" && format == "png" {
			require.NoError(t, os.WriteFile(name+"/suspects.png", b.Bytes(), 0o644))
		}
	}
	for _, few := range [][]hunt.Suspect{nil, list[:1], append(append(append([]hunt.Suspect{}, list...), list...), list...)} {
		require.NoError(t, Suspects(&bytes.Buffer{}, "png", s, few, Options{}))
	}
	require.Error(t, Suspects(&bytes.Buffer{}, "png", nil, list, Options{}))
	require.Error(t, Suspects(&bytes.Buffer{}, "bmp", s, list, Options{}))
	s.Spectrum = nil
	require.Error(t, Suspects(&bytes.Buffer{}, "png", s, list, Options{}))
}

// Truth: what is said of each suspect. A flag stands where a suspect is, and a bar
// over every channel that it harms without a place in it; no suspect that harms a
// channel has neither.
func TestFlagsStandWhereSuspectsAre(t *testing.T) {
	list := someSuspects(t)
	product := hunt.Suspect{Kind: hunt.Product, FrequencyHz: est(533.9e6, 3e3), PlacesHz: []float64{533.9e6, 534.3e6}, WidthHz: 4e5,
		Harms: []hunt.Harm{list[1].Harms[0], list[0].Harms[0]}}
	for _, row := range []struct {
		s     hunt.Suspect
		at    []float64 // the middles of those with a place
		broad []int
	}{
		{list[0], nil, []int{21, 30, 14, 33}},
		{list[1], []float64{533.21e6}, nil},
		{list[3], nil, []int{9}},
		{list[4], []float64{201.6e6}, nil},
		{product, []float64{533.9e6, 534.3e6}, []int{21}},
		{hunt.Suspect{}, nil, nil},
	} {
		var at []float64
		var broad []int
		for _, f := range pennants(1, &row.s) {
			if !f.broad {
				at = append(at, f.badgeHz())
				continue
			}
			for _, h := range row.s.Harms {
				if h.Channel.LowerHz == f.lowHz && h.Channel.UpperHz() == f.highHz {
					broad = append(broad, h.Channel.Number)
				}
			}
		}
		require.Equal(t, row.at, at, row.s.Name)
		require.Equal(t, row.broad, broad, row.s.Name)
	}
}
