package site

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Truth: the README's fields. What a line says of the parts that were heard is
// taken where it makes sense; a line of an earlier version rests on all of it.
func TestPartsInAFile(t *testing.T) {
	c := band.Channel{Number: 22, LowerHz: 518e6}
	for fields, want := range map[string]struct {
		share float64
		seen  []band.Span
	}{
		``:                           {1, []band.Span{c.Span()}},
		`,"seen_share":1`:            {1, []band.Span{c.Span()}},
		`,"seen_share":0.5`:          {0.5, []band.Span{{LowHz: 519.5e6, HighHz: 522.5e6}}},
		`,"seen_share":-3`:           {1, []band.Span{c.Span()}},
		`,"seen_hz":[[518e6,521e6]]`: {0.5, []band.Span{{LowHz: 518e6, HighHz: 521e6}}},
		`,"seen_share":0.35,"seen_hz":[[522e6,521e6],[519e6,521.1e6]]`: {0.35, []band.Span{{LowHz: 519e6, HighHz: 521.1e6}}},
	} {
		path := newHouse(t)
		f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
		require.NoError(t, err)
		_, err = f.WriteString(`{"kind":"mark","time":"2026-03-05T12:00:00Z","place":"roof","channels":[{"rf_channel":22,"presence":"present","margin_db":4,"margin_sigma_db":1.5` + fields + "}]}\n")
		require.NoError(t, err)
		require.NoError(t, f.Close())
		h := read(t, path)
		require.Zero(t, h.Damaged, fields)
		got := &h.Marks[0].Heard[0]
		require.InDelta(t, want.share, got.Share(), 1e-9, fields)
		require.Equal(t, want.seen, got.parts(c), fields)
		require.Equal(t, 1.5, got.Margin.Sigma)
	}
}

// Truth: the README's fields: a mark says what of a channel was heard.
func TestPartIsKept(t *testing.T) {
	h := Heard{RFChannel: 22, Presence: measure.Present, Margin: &measure.Estimate{Value: 6, Sigma: 3}}
	h.HeardPart([]band.Span{{LowHz: 519e6, HighHz: 521.1e6}})
	path := newHouse(t)
	require.NoError(t, Append(path, Mark{Time: noon, Place: "attic", Heard: []Heard{h}}))
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, strings.Contains(string(b), `"seen_share":0.35,"seen_hz":[[519000000,521100000]]`), "%s", b)
}
