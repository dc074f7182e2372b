package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

func estimate(v, sigma float64) *measure.Estimate { return &measure.Estimate{Value: v, Sigma: sigma} }

// oddSurvey has what is hard to write down: absent values, values that are no
// numbers, and text with everything that CSV has to quote.
func oddSurvey() *scan.Survey {
	gain := 49.6000001
	return &scan.Survey{
		Started:     time.Date(2026, 3, 5, 18, 0, 0, 999, time.FixedZone("", -5*3600)),
		Source:      "a \"source\", <odd>",
		ThresholdDB: 15.2,
		Clock:       &measure.Clock{PPM: *estimate(21.00049, 0.0005), Stations: 2},
		FalseAlarm:  1e-3,
		Channels: []scan.Channel{
			{Reading: measure.Reading{Channel: band.Channel{Number: 14, LowerHz: 470e6}}},
			{
				Reading: measure.Reading{
					Channel:   band.Channel{Number: 15, LowerHz: 476e6},
					Seen:      []band.Span{{LowHz: 476e6, HighHz: 482e6}},
					Presence:  measure.Present,
					PowerDBFS: estimate(-9.5049, 0.02),
					NoiseDBFS: estimate(math.NaN(), math.Inf(1)),
					CN:        estimate(24.826, 0.061),
					Margin:    estimate(-0.001, 0.061),
					Echoes:    []measure.Echo{{DelayUS: *estimate(1.404, 0.02), LevelDB: *estimate(-4.01, 0.1)}, {DelayUS: *estimate(-3, 0), LevelDB: *estimate(-12, 0)}},
					Pilot:     &measure.Pilot{OffsetHz: *estimate(-0.04, 30.04), ToNoise: *estimate(80.194, 0.07), PowerDBFS: math.Inf(-1)},
					GainDB:    &gain,
				},
				Verdict: verdict.Verdict{
					Grade:   verdict.Trace,
					Reasons: []verdict.Reason{{Limit: verdict.Weak, Evidence: "C/N 15 dB, \"none\" to spare"}, {Limit: verdict.Tone, Evidence: "two\nlines"}},
				},
			},
			{
				Reading: measure.Reading{
					Channel:  band.Channel{Number: 16, LowerHz: 482e6},
					Seen:     []band.Span{{LowHz: 482e6, HighHz: 483e6}, {LowHz: 486.9e6, HighHz: 488e6}},
					Occupant: &measure.Occupant{Span: band.Span{LowHz: 487e6, HighHz: 488e6}, UnevenDB: 1.2567, RepeatSeconds: 67e-6, OnShare: 0.25},
					Presence: measure.Vacant,
					Pilot:    &measure.Pilot{OffsetHz: *estimate(1500, 1)},
				},
			},
		},
	}
}

// Truth: RFC 8259 and our own promise that absent is null.
func TestJSON(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, writeJSON(&b, newReport(oddSurvey())))
	var r map[string]any
	require.NoError(t, json.Unmarshal(b.Bytes(), &r))
	require.Equal(t, "rooftone.sweep/1", r["schema"])
	require.Equal(t, "2026-03-05T18:00:00-05:00", r["started"])
	require.Equal(t, 21.0, r["ppm"])
	require.Equal(t, false, r["ppm_given"])

	rows := r["channels"].([]any)
	uncovered := rows[0].(map[string]any)
	for name, v := range uncovered {
		switch name {
		case "rf_channel", "lower_hz", "upper_hz":
		case "covered":
			require.Equal(t, false, v)
		case "seen_share":
			require.Equal(t, 0.0, v)
		case "limits", "evidence", "doubts", "advice", "seen_hz":
			require.Empty(t, v, name)
			require.NotNil(t, v, name)
		default:
			require.Nil(t, v, name)
		}
	}
	row := rows[1].(map[string]any)
	require.Equal(t, -9.5, row["power_dbfs"])
	require.Nil(t, row["noise_dbfs"])
	require.Nil(t, row["pilot_dbfs"])
	require.Equal(t, 24.83, row["cn_db"])
	require.Equal(t, 49.6, row["gain_db"])
	require.Equal(t, true, row["pilot_found"])
	require.Equal(t, true, row["covered"])
	require.Equal(t, 1.0, row["seen_share"])
	require.Nil(t, row["occupant"])
	part := rows[2].(map[string]any)
	require.Equal(t, false, part["covered"])
	require.Equal(t, 0.35, part["seen_share"])
	require.Equal(t, []any{[]any{482e6, 483e6}, []any{486.9e6, 488e6}}, part["seen_hz"])
	require.Equal(t, map[string]any{"low_hz": 487e6, "high_hz": 488e6, "uneven_db": 1.26, "repeat_s": 6.7e-5, "on_share": 0.25}, part["occupant"])
	require.Equal(t, []any{"weak", "tone"}, row["limits"])
	echo := row["echoes"].([]any)[0].(map[string]any)
	require.Equal(t, 1.404, echo["delay_us"])
	require.Equal(t, -4.01, echo["level_db"])
	// 1.404 µs at 299.792458 m/µs, 0.3048 m to the foot.
	require.InDelta(t, 1381, echo["extra_ft"], 1)
	require.Equal(t, false, rows[2].(map[string]any)["pilot_found"], "a tone in a vacant channel is no pilot")
	require.Equal(t, 1500.0, rows[2].(map[string]any)["pilot_offset_hz"])
	require.NotContains(t, b.String(), "-0,", "minus zero")
	require.Contains(t, b.String(), "<odd>")
}

// Truth: RFC 4180, as encoding/csv reads it.
func TestCSV(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, writeCSV(&b, newReport(oddSurvey())))
	require.Equal(t, 5, strings.Count(b.String(), "\r\n"), "four lines, and one within a field")
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 4)
	col := map[string]int{}
	for i, name := range rows[0] {
		col[name] = i
	}
	require.Equal(t, "470000000", rows[1][col["lower_hz"]])
	require.Equal(t, "", rows[1][col["cn_db"]])
	require.Equal(t, "", rows[1][col["pilot_found"]])
	require.Equal(t, "24.83", rows[2][col["cn_db"]])
	require.Equal(t, "0", rows[2][col["margin_db"]])
	require.Equal(t, "", rows[2][col["noise_dbfs"]])
	require.Equal(t, "1.404 us -4.01 dB; -3 us -12 dB", rows[2][col["echoes"]])
	require.Equal(t, "weak; tone", rows[2][col["limits"]])
	require.Equal(t, "482000000-483000000 Hz; 486900000-488000000 Hz", rows[3][col["seen_hz"]])
	require.Equal(t, "487000000 to 488000000 Hz", rows[3][col["occupant"]])
	require.Equal(t, "C/N 15 dB, \"none\" to spare; two\nlines", rows[2][col["evidence"]])
}

// Truth: the README. Every field is in its tables.
func TestREADMEHasEveryField(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	for _, typ := range []reflect.Type{reflect.TypeFor[report](), reflect.TypeFor[reportRow](), reflect.TypeFor[reportEcho](), reflect.TypeFor[reportSlice](),
		reflect.TypeFor[reportStation](), reflect.TypeFor[rankReport](), reflect.TypeFor[rankWant](), reflect.TypeFor[rankSpot](), reflect.TypeFor[rankPlace](),
		reflect.TypeFor[rankChannel](), reflect.TypeFor[rankPair](), reflect.TypeFor[rankChange](), reflect.TypeFor[rankRow](),
		reflect.TypeFor[huntReport](), reflect.TypeFor[huntSuspect](), reflect.TypeFor[huntHarm](), reflect.TypeFor[huntChannel](), reflect.TypeFor[huntBand](),
		reflect.TypeFor[huntEmitter](), reflect.TypeFor[huntGain](), reflect.TypeFor[huntGainPoint](), reflect.TypeFor[huntProduct](), reflect.TypeFor[huntTone](),
		reflect.TypeFor[logJSON](), reflect.TypeFor[logGap](), reflect.TypeFor[logClock](), reflect.TypeFor[logDisk](), reflect.TypeFor[logChannelJSON](), reflect.TypeFor[logNeed](),
		reflect.TypeFor[logDepth](), reflect.TypeFor[logFades](), reflect.TypeFor[logDay](), reflect.TypeFor[logDrift](), reflect.TypeFor[logStep](), reflect.TypeFor[logChance](),
		reflect.TypeFor[logJoint](), reflect.TypeFor[logEvent](), reflect.TypeFor[logFinding](),
		reflect.TypeFor[turnReport](), reflect.TypeFor[turnResult](), reflect.TypeFor[turnLobe](),
		reflect.TypeFor[receiveSecond](), reflect.TypeFor[receiveStation](), reflect.TypeFor[receiveTotal](), reflect.TypeFor[reportIdentity](), reflect.TypeFor[reportService](),
		reflect.TypeFor[stationsReport](), reflect.TypeFor[stationsRow]()} {
		for i := range typ.NumField() {
			name := typ.Field(i).Tag.Get("json")
			if typ.Field(i).Anonymous {
				continue // its own type is in the list
			}
			require.Contains(t, string(readme), "`"+name+"`", "the README does not tell of a JSON field")
		}
	}
}

// Truth: arithmetic.
func TestRound(t *testing.T) {
	for _, c := range []struct{ v, step, want float64 }{
		{24.826, 0.01, 24.83},
		{-24.826, 0.01, -24.83},
		{0.1 + 0.2, 0.1, 0.3},
		{-0.001, 0.01, 0},
		{1e-7, 1e-6, 0},
	} {
		got := round(c.v, c.step)
		require.Equal(t, c.want, *got)
		require.False(t, math.Signbit(*got) && *got == 0)
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		require.Nil(t, round(v, 0.01))
	}
}
