package plot

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/expect"
	"rooftone/scan/site"
)

// Truth: common practice: text keeps to the width that was asked for, and to ASCII
// where that was asked for, whatever a list's labels hold; no station is left out.
func TestExpectedKeepsToTheWidth(t *testing.T) {
	at := site.Position{LatDeg: 44.26, LonDeg: -72.58}
	h := expect.House{At: at, HeightM: 9, ThresholdDB: 15.2, Plan: band.Plans()[0]}
	var list []site.Station
	for i, kw := range []float64{1000, 1, 1e-6, 0} {
		list = append(list, site.Station{
			RFChannel: 20 + i, Label: "Ünïted " + strings.Repeat("long ", 9) + "\x1b[31m", ERPKW: &kw,
			At: site.Position{LatDeg: 44.26 + float64(i+1)/3, LonDeg: -72.58},
		})
	}
	e, err := expect.At(h, list)
	require.NoError(t, err)
	for _, o := range []TextOptions{{Width: 40}, {Width: 60, Units: site.Feet}, {Width: 80}, {Width: 200, UTF8: true}} {
		var b bytes.Buffer
		require.NoError(t, Expected(&b, e, h, o))
		require.NotContains(t, b.String(), "\x1b")
		for line := range strings.Lines(b.String()) {
			require.LessOrEqual(t, width(strings.TrimRight(line, "\n")), o.Width, line)
			if !o.UTF8 {
				require.False(t, strings.ContainsFunc(line, func(r rune) bool { return r > 126 }), line)
			}
		}
		for _, n := range []string{"\n 20 ", "\n 21 ", "\n 22 ", "\n 23 "} {
			require.Contains(t, b.String(), n)
		}
	}
}
