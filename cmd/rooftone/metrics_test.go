package main

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/model/textparse"
	"github.com/stretchr/testify/require"

	"rooftone/scan/meter"
	"rooftone/scan/watch"
)

// scraped is a family as a scraper sees it.
type scraped struct {
	kind, unit, help string
	samples          map[string]float64 // by the sample's name and labels
}

func scrape(t *testing.T, text []byte) map[string]*scraped {
	t.Helper()
	out, err := parseMetrics(text)
	require.NoError(t, err)
	return out
}

// parseMetrics reads an exposition with the parser of the time-series system that
// the standard came from.
func parseMetrics(text []byte) (map[string]*scraped, error) {
	out := map[string]*scraped{}
	family := func(name []byte) *scraped {
		f := out[string(name)]
		if f == nil {
			f = &scraped{samples: map[string]float64{}}
			out[string(name)] = f
		}
		return f
	}
	p := textparse.NewOpenMetricsParser(text, labels.NewSymbolTable())
	var current *scraped
	for {
		entry, err := p.Next()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		switch entry {
		case textparse.EntryType:
			name, kind := p.Type()
			current = family(name)
			current.kind = string(kind)
		case textparse.EntryUnit:
			name, unit := p.Unit()
			family(name).unit = string(unit)
		case textparse.EntryHelp:
			name, help := p.Help()
			family(name).help = string(help)
		case textparse.EntrySeries:
			series, _, v := p.Series()
			current.samples[string(series)] = v
		}
	}
}

// Truth: a second implementation: the OpenMetrics parser of the Prometheus
// project. The rules for names are those of the OpenMetrics specification 1.0.
func TestMetrics(t *testing.T) {
	gain, ppm := 37.2, 21.5
	now := watch.Snapshot{
		Source: "sim:odd \"town\"\\\n", Up: true, Losses: 2, ClockPPM: &ppm, Written: 90, Kept: 80, LogBytes: 4096, LogTrouble: true,
		Channels: []watch.ChannelStatus{
			{
				RFChannel: 22, Time: time.Date(2026, 3, 5, 18, 0, 0, 5e8, time.UTC), Readings: 45, Below: 3, Fades: 2, Impulse: 7,
				Latest: meter.Update{State: meter.Measuring, Margin: estimate(9.25, 0.1), CN: estimate(24.5, 0.1), MER: estimate(23.1, 0.2), GainDB: &gain, Clipped: 1e-7},
			},
			{RFChannel: 24, Time: time.Date(2026, 3, 5, 18, 0, 0, 0, time.UTC), Readings: 45, Latest: meter.Update{State: meter.Nothing}},
		},
	}
	var b bytes.Buffer
	writeMetrics(&b, now)
	require.True(t, strings.HasSuffix(b.String(), "\n# EOF\n"))
	got := scrape(t, b.Bytes())
	for name, f := range got {
		require.True(t, strings.HasPrefix(name, "rooftone_"), name)
		require.NotEmpty(t, f.kind, name)
		require.NotEmpty(t, f.help, name)
		require.NotEmpty(t, f.samples, name)
		if f.unit != "" {
			require.True(t, strings.HasSuffix(name, "_"+f.unit), "%s has the unit %s", name, f.unit)
		}
		for series := range f.samples {
			switch f.kind {
			case "counter":
				require.True(t, strings.HasPrefix(series, name+"_total"), series)
			case "info":
				require.True(t, strings.HasPrefix(series, name+"_info"), series)
			default:
				require.True(t, series == name || strings.HasPrefix(series, name+"{"), series)
				require.False(t, strings.HasSuffix(name, "_total"))
			}
		}
	}
	require.Equal(t, map[string]float64{`rooftone_margin_decibels{rf_channel="22"}`: 9.25}, got["rooftone_margin_decibels"].samples, "absent is not zero")
	require.Equal(t, "decibels", got["rooftone_margin_decibels"].unit)
	require.Equal(t, 3.0, got["rooftone_below_threshold_seconds"].samples[`rooftone_below_threshold_seconds_total{rf_channel="22"}`])
	require.Equal(t, 0.0, got["rooftone_heard"].samples[`rooftone_heard{rf_channel="24"}`])
	require.Equal(t, 1772733600.5, got["rooftone_reading_timestamp_seconds"].samples[`rooftone_reading_timestamp_seconds{rf_channel="22"}`])
	require.InDelta(t, 21.5e-6, got["rooftone_clock_error_ratio"].samples["rooftone_clock_error_ratio"], 1e-12)
	require.Equal(t, 1e-7, got["rooftone_clipped_ratio"].samples[`rooftone_clipped_ratio{rf_channel="22"}`])

	// While the radio is away its last reading is not repeated.
	now.Up = false
	b.Reset()
	writeMetrics(&b, now)
	got = scrape(t, b.Bytes())
	require.Empty(t, got["rooftone_margin_decibels"].samples)
	require.Equal(t, 45.0, got["rooftone_readings"].samples[`rooftone_readings_total{rf_channel="22"}`])
	b.Reset()
	writeMetrics(&b, watch.Snapshot{})
	scrape(t, b.Bytes())
}

// Truth: the promise: this machine alone unless more is asked for.
func TestMetricsAddress(t *testing.T) {
	l, err := listenMetrics("0")
	require.NoError(t, err)
	require.Contains(t, l.Addr().String(), "127.0.0.1:")
	l.Close()
	for _, bad := range []string{"", "loopback", ":9410", "example.org:80", "70000", "127.0.0.1", "127.0.0.1:http", "-1"} {
		_, err := listenMetrics(bad)
		var usage *usageError
		require.ErrorAs(t, err, &usage, "%q", bad)
	}
}
