package plot

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/character"
)

// Truth: the promise that a picture is drawn of whatever was found, and says it to
// those who cannot see it.
func TestRadioOfAnything(t *testing.T) {
	full := &character.Character{
		Radio: "sim:three", RateHz: 2.4e6, Stations: make([]character.Station, 3),
		Response:      []character.Point{{Share: -1.3, DB: -30, AtMost: true}, {Share: -0.875, DB: -3, SigmaDB: 0.1}, {Share: 0}, {Share: 0.875, DB: -3}, {Share: 1.125, DB: -18, SigmaDB: 50}},
		NoiseResponse: []character.Point{{Share: -0.9, DB: -4}, {Share: 0.9, DB: -4}},
		Gains:         []character.Gain{{NameDB: 0, RealDB: &character.Figure{Value: 30, Sigma: 0.1}}, {NameDB: 10}, {NameDB: 49.6, RealDB: &character.Figure{Value: 49.6}}},
		ClockPPM:      &character.Figure{Value: -21.4, Sigma: 0.1},
	}
	full.Conclude()
	for _, r := range []*character.Character{full, {}} {
		for _, format := range []string{"png", "svg", "pdf"} {
			var b bytes.Buffer
			require.NoError(t, Radio(&b, format, r, Options{}))
			require.Greater(t, b.Len(), 1000)
			if format == "svg" && r == full {
				require.Contains(t, b.String(), "clock −21.4 ppm")
				require.Contains(t, b.String(), "3.0 dB down")
			}
		}
	}
	require.Error(t, Radio(&bytes.Buffer{}, "gif", full, Options{}))
}
