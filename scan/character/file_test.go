package character

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: what was kept is what is read again, whatever the radio's name holds, and
// what is no such file is refused.
func TestKeepsPerRadio(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "rooftone", "radios")
	names := []string{"usb:00000001", "usb:0000/0001", "usb:0000\\0001", "../../etc", "sim:harbour", "soapy:driver=ä"}
	for i, name := range names {
		_, err := Load(folder, name)
		require.True(t, Missing(err))
		c := &Character{Version: Version, Radio: name, RateHz: 2.4e6, ClockPPM: &Figure{float64(i), 0.1},
			Response: []Point{{-1.1, -15, 0.2, false}, {0, 0, 0, false}, {0.9, -3, 0.1, false}}}
		file, err := Save(folder, c)
		require.NoError(t, err)
		require.Equal(t, folder, filepath.Dir(file))
		got, err := Load(folder, name)
		require.NoError(t, err)
		require.Equal(t, c, got)
	}
	list, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, list, len(names), "and nothing temporary is left")

	for _, bad := range []string{"", "{}", `{"version":2,"rate_hz":1}`, `{"version":1}`,
		`{"version":1,"rate_hz":2e6,"response":[{"share":1},{"share":0}]}`,
		`{"version":1,"rate_hz":2e6,"clock_ppm":{"value":1,"sigma":-1}}`,
		`{"version":1,"rate_hz":2e6,"radio":"usb:2"}`} {
		require.NoError(t, os.WriteFile(filepath.Join(folder, FileName("usb:1")), []byte(bad), 0o666))
		_, err := Load(folder, "usb:1")
		require.Error(t, err, bad)
		require.False(t, Missing(err))
	}
}

// Truth: straight lines.
func TestAtAndConclude(t *testing.T) {
	c := Character{Response: []Point{
		{-1.2, -28, 0.5, false}, {-1.1, -16, 0.3, false}, {-0.9, -4, 0.1, false}, {-0.8, -1, 0.1, false}, {0, 0, 0, false},
		{0.8, -2, 0.1, false}, {0.9, -4, 0.1, false}, {1.1, -18, 0.3, true}, {1.2, -28, 0.3, true},
	}}
	f, ok := c.At(-1.15)
	require.True(t, ok)
	require.InDelta(t, -22, f.Value, 1e-9)
	_, ok = c.At(1.15)
	require.False(t, ok, "bounds are no values")
	_, ok = c.At(2)
	require.False(t, ok)
	c.Conclude()
	require.InDelta(t, (3.25+3.5)/2, c.DroopDB.Value, 1e-9)
	require.InDelta(t, -19, c.FoldingDB.Value, 1e-9)
}

// What no examination wrote must not stop the program.
func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"version":1,"rate_hz":2e6,"response":[{"share":1},{"share":0}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		if c, err := Parse(data); err == nil {
			c.Conclude()
			c.At(0.3)
		}
	})
}
