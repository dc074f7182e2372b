package site

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: plain arithmetic. A turn once and a half around, whose level is a cosine
// of the bearing, gives that cosine at each step, and the file gives it back.
func TestCurveOfATurn(t *testing.T) {
	turn := Turn{Pointings: []Pointing{{noon, 350}}, RateDegPerS: 12}
	var samples []Sample
	for k := range 900 {
		at := noon.Add(time.Duration(k) * 50 * time.Millisecond)
		deg := 350 + 12*at.Sub(noon).Seconds()
		samples = append(samples, Sample{Time: at, LevelDB: 10 * math.Cos(deg*math.Pi/180)})
	}
	points, err := turn.Curve(samples, CurveStepDeg)
	require.NoError(t, err)
	require.Len(t, points, 144)
	for i, p := range points {
		require.InDelta(t, 10*math.Cos(p.BearingDeg*math.Pi/180), p.LevelDB, 0.01)
		require.InDelta(t, (float64(i)+0.5)*CurveStepDeg, p.BearingDeg, CurveStepDeg/2)
	}
	_, err = turn.Curve(samples, 0)
	require.Error(t, err)
	_, err = Turn{}.Curve(samples, CurveStepDeg)
	require.ErrorIs(t, err, ErrPointings)

	name := filepath.Join(t.TempDir(), "house.jsonl")
	require.NoError(t, Create(name, Header{Name: "x"}))
	kept := TurnRecord{Time: noon, Place: "gable  east", HeightM: ptr(6.5), Source: "usb", ThresholdDB: 15.2, DeclinationDeg: ptr(-13.5), Curves: []Curve{{21, points}}}
	require.NoError(t, Append(name, kept))
	h, err := Read(name)
	require.NoError(t, err)
	require.Zero(t, h.Damaged)
	require.Zero(t, h.Others)
	require.Len(t, h.Turns, 1)
	got := h.Turns[0]
	require.Equal(t, "gable east", got.Place)
	require.Equal(t, -13.5, *got.DeclinationDeg)
	require.Len(t, got.Curves[0].Points, 144)
	require.InDelta(t, points[40].LevelDB, got.Curves[0].Points[40].LevelDB, 0.006)
	require.True(t, got.At("Gable East", ptr(6.6), DefaultOptions()))
	require.True(t, got.At("Gable East", nil, DefaultOptions()), "a height that was not told may be any")
	require.False(t, got.At("Gable East", ptr(7.), DefaultOptions()))
	require.False(t, got.At("gable", ptr(6.5), DefaultOptions()))

	// Nothing but a small file.
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Less(t, len(text), 4000)
}

// Truth: what cannot be is refused where it is written, and passed over where it
// is read.
func TestCurvesThatCannotBe(t *testing.T) {
	for _, r := range []TurnRecord{
		{Time: noon},
		{Place: "roof"},
		{Time: noon, Place: "roof", HeightM: ptr(1e9)},
		{Time: noon, Place: "roof", DeclinationDeg: ptr(200.0)},
		{Time: noon, Place: "roof", Curves: []Curve{{0, nil}}},
		{Time: noon, Place: "roof", Curves: []Curve{{21, make([]Aimed, 1000)}}},
		{Time: noon, Place: "roof", Curves: []Curve{{21, []Aimed{{LevelDB: math.NaN()}}}}},
	} {
		_, err := encode(r)
		require.Error(t, err, "%v", r)
	}
	for _, l := range []string{
		`{"kind":"turn","time":"2026-03-05T09:40:00Z","curves":[]}`,
		`{"kind":"turn","place":"roof","curves":[]}`,
		`{"kind":"turn","time":"2026-03-05T09:40:00Z","place":"roof","curves":[{"rf_channel":21,"points":[[400,1]]}]}`,
		`{"kind":"turn","time":"2026-03-05T09:40:00Z","place":"roof","curves":[{"rf_channel":21,"points":[[40,1e9]]}]}`,
		`{"kind":"turn","time":"2026-03-05T09:40:00Z","place":"roof","curves":[{"rf_channel":21,"points":7}]}`,
	} {
		h, err := Decode(bytes.NewBufferString(`{"kind":"house","schema":"rooftone.house/1","name":"x"}` + "\n" + l + "\n"))
		require.NoError(t, err)
		require.Equal(t, 1, h.Damaged, l)
		require.Empty(t, h.Turns)
	}
}
