package site

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the definitions of foot, inch and mile (NIST Handbook 44, Appendix C),
// worked out by hand.
func TestParseLength(t *testing.T) {
	for text, want := range map[string]struct {
		m     float64
		typed Units
	}{
		"6": {6, ""}, " 6.5 ": {6.5, ""}, ".5": {0.5, ""}, "-2": {-2, ""},
		"6m": {6, Metres}, "6 m": {6, Metres}, "6.1 metres": {6.1, Metres}, "1 meter": {1, Metres},
		"20ft": {6.096, Feet}, "20 FT": {6.096, Feet}, "20 feet": {6.096, Feet}, "1 foot": {0.3048, Feet},
		"20'": {6.096, Feet}, `5' 6"`: {1.6764, Feet}, "5ft 6in": {1.6764, Feet}, "-1ft6in": {-0.4572, Feet},
	} {
		m, typed, err := ParseLength(text, Metres)
		require.NoError(t, err, text)
		require.InDelta(t, want.m, m, 1e-9, text)
		require.Equal(t, want.typed, typed, text)
	}
	m, typed, err := ParseLength("20", Feet)
	require.NoError(t, err)
	require.InDelta(t, 6.096, m, 1e-9)
	require.Empty(t, typed)
	for _, text := range []string{"", "high", "6 km", "m", "ft", "6 6", `5' 12"`, "6 m 2 in", "1e3", "NaN", "inf m", strings.Repeat("9", 400)} {
		_, _, err := ParseLength(text, Metres)
		require.Error(t, err, text)
	}
}

// Truth: what was typed, in tenths of a foot and in centimetres, kept as a house's
// file keeps it.
func TestLengthsComeBackAsTheyWereTyped(t *testing.T) {
	for i := -500; i <= 5000; i++ {
		typed := strings.TrimSuffix(fmt.Sprintf("%.1f", float64(i)/10), ".0") + " ft"
		if typed == "-0 ft" {
			continue
		}
		m, _, err := ParseLength(typed, "")
		require.NoError(t, err)
		require.Equal(t, typed, Feet.Length(*round(m, 100)), typed)
	}
	require.Equal(t, "6.1 m", Metres.Length(6.1))
	require.Equal(t, "6.1 m", Units("").Length(6.1))
	require.Equal(t, "0 ft", Feet.Length(-0.001))
	require.Equal(t, "17.8 miles", Feet.Distance(28.6e3))
	require.Equal(t, "28.6 km", Metres.Distance(28.6e3))
	require.Equal(t, "28.6 km or 17.8 miles", Units("").Distance(28.6e3))
}

// Truth: the compass card: each of 16 points is 22.5 degrees wide.
func TestHeading(t *testing.T) {
	for deg, want := range map[float64]string{
		0: "0° N", 131: "131° SE", 268: "268° W", 359.7: "0° N", 360: "0° N", -10: "350° N", 11: "11° N", 12: "12° NNE",
		33: "33° NNE", 34: "34° NE", 90: "90° E", 180: "180° S", 202: "202° SSW", 225: "225° SW", 315: "315° NW", 348: "348° NNW", 349: "349° N",
	} {
		require.Equal(t, want, Heading(deg), deg)
	}
	for _, deg := range []float64{math.Inf(1), 1e300} { // nothing that a file could hold makes it panic
		require.NotPanics(t, func() { Heading(math.Mod(deg, 360)) })
	}
	s := Spot{Place: "gable", BearingDeg: ptr(131.), HeightM: ptr(6.1), Units: Feet, North: CompassNorth}
	require.Equal(t, "gable, 131° SE, 20 ft", s.String())
	require.Equal(t, "gable, 131° SE by compass, 20 ft", s.Full())
}

// Truth: what later lines of a house's file say replaces what earlier ones said.
func TestSettings(t *testing.T) {
	name := filepath.Join(t.TempDir(), "house.jsonl")
	require.NoError(t, Create(name, Header{Name: "farm"}))
	require.NoError(t, Append(name, Setting{Time: noon, Units: Feet, North: CompassNorth, DeclinationDeg: ptr(-13.5)}))
	h, err := Read(name)
	require.NoError(t, err)
	require.Equal(t, Feet, h.Units)
	require.Equal(t, CompassNorth, h.North)
	require.Equal(t, -13.5, *h.DeclinationDeg)
	require.NoError(t, Append(name, Setting{Time: noon, Units: Metres}, Header{Name: "Orchard Farm"}))
	h, err = Read(name)
	require.NoError(t, err)
	require.Equal(t, Metres, h.Units)
	require.Equal(t, CompassNorth, h.North)
	require.Equal(t, "Orchard Farm", h.Name)
	require.Zero(t, h.Damaged+h.Others)

	for _, s := range []Setting{{}, {Units: "cubits"}, {North: "up"}, {DeclinationDeg: ptr(181.)}, {DeclinationDeg: ptr(math.NaN())}} {
		require.Error(t, Append(name, s), s)
	}
	h, err = Decode(strings.NewReader(`{"kind":"house","schema":"rooftone.house/1"}
{"kind":"setting","units":"cubits","north":"up"}
{"kind":"setting","declination_deg":300}
`))
	require.NoError(t, err)
	require.Empty(t, h.Units)
	require.Empty(t, h.North)
	require.Equal(t, 1, h.Damaged)
}

func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"6 m", "20ft", `5' 6"`, "-.5", "6 6"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, typed, err := ParseLength(s, Feet)
		if err != nil {
			return
		}
		require.False(t, math.IsNaN(m) || math.IsInf(m, 0))
		if math.Abs(m) > 9000 {
			return
		}
		again, _, err := ParseLength(typed.Length(m), "")
		require.NoError(t, err)
		require.InDelta(t, m, again, 0.016)
	})
}
