package site

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Truth: the documented rule: everything that was measured, and nothing that
// was not.
func TestNewMark(t *testing.T) {
	e := func(v, s float64) *measure.Estimate { return &measure.Estimate{Value: v, Sigma: s} }
	s := &scan.Survey{
		Started: noon, Source: "sim:town", ThresholdDB: 15.2, Interrupted: true,
		Clock: &measure.Clock{PPM: *e(12, 0.5)},
		Channels: []scan.Channel{
			{Reading: measure.Reading{Channel: band.Channel{Number: 7, LowerHz: 174e6}}},
			{Reading: measure.Reading{Channel: band.Channel{Number: 9, LowerHz: 186e6}, Seen: []band.Span{{LowHz: 186e6, HighHz: 192e6}}, Presence: measure.Vacant, PowerDBFS: e(-50, 0.1)}},
			{
				Reading: measure.Reading{
					Channel: band.Channel{Number: 22, LowerHz: 518e6}, Seen: []band.Span{{LowHz: 518e6, HighHz: 524e6}}, Presence: measure.Present,
					Standard: measure.ATSC1, Margin: e(7, 0.5), MarginMethod: measure.MarginEqualised, CN: e(23, 0.5),
					MER: e(22, 0.25), PowerDBFS: e(-30, 0.25), Tilt: e(1, 0.5), Ripple: e(4, 0.5),
					EchoCost: e(3, 0.5), Echoes: []measure.Echo{{DelayUS: *e(1.25, 0.01), LevelDB: *e(-9, 0.5)}},
					GainDB: ptr(20.0), ClippedFraction: 0.001, LostSamples: true,
				},
				Verdict: verdict.Verdict{Grade: verdict.Slim, Reasons: []verdict.Reason{{Limit: verdict.Echoes, Evidence: "x"}}, Advice: []string{"y"}},
			},
			{Reading: measure.Reading{
				Channel: band.Channel{Number: 24, LowerHz: 530e6}, Seen: []band.Span{{LowHz: 530e6, HighHz: 531.2e6}, {LowHz: 533e6, HighHz: 534.8e6}},
				Presence: measure.Present, Standard: measure.ATSC1, Margin: e(5, 1.5), MarginMethod: measure.MarginTraining,
			}},
			{Reading: measure.Reading{
				Channel: band.Channel{Number: 25, LowerHz: 536e6}, Seen: []band.Span{{LowHz: 536e6, HighHz: 542e6}},
				Presence: measure.Unsure, Standard: measure.OtherStandard, Occupant: &measure.Occupant{},
			}},
		},
	}
	m := NewMark(s)
	require.Equal(t, Mark{
		Time: noon, Look: Careful, Source: "sim:town", ThresholdDB: 15.2, Clock: e(12, 0.5), Interrupted: true,
		Heard: []Heard{
			{RFChannel: 9, Presence: measure.Vacant, Power: e(-50, 0.1)},
			{
				RFChannel: 22, Presence: measure.Present, Grade: verdict.Slim, Standard: measure.ATSC1,
				Margin: e(7, 0.5), MarginMethod: measure.MarginEqualised, CN: e(23, 0.5), MER: e(22, 0.25),
				Power: e(-30, 0.25), Tilt: e(1, 0.5), Ripple: e(4, 0.5), Limits: []verdict.Limit{verdict.Echoes},
				Evidence: []string{"x"}, Advice: []string{"y"}, EchoCost: e(3, 0.5),
				Echoes: []measure.Echo{{DelayUS: *e(1.25, 0.01), LevelDB: *e(-9, 0.5)}},
				GainDB: ptr(20.0), Clipped: 0.001, Lost: true,
			},
			{
				RFChannel: 24, Presence: measure.Present, Standard: measure.ATSC1, Margin: e(5, 1.5), MarginMethod: measure.MarginTraining,
				SeenShare: 0.5, Seen: []band.Span{{LowHz: 530e6, HighHz: 531.2e6}, {LowHz: 533e6, HighHz: 534.8e6}},
			},
			{RFChannel: 25, Presence: measure.Unsure, Standard: measure.OtherStandard, Occupied: true},
		},
	}, m)
	s.Channels[2].Margin.Value = 99
	require.Equal(t, 7.0, m.Heard[1].Margin.Value, "a mark shares nothing with the visit")

	// And so does the file.
	m.Place = "roof"
	path := newHouse(t)
	require.NoError(t, Append(path, m))
	require.Equal(t, []Mark{m}, read(t, path).Marks)

	// And a mark is drawn as the visit that it was made of.
	s.Channels[2].Margin.Value = 7
	again := m.Survey()
	again.SpectrumGainDB = s.SpectrumGainDB
	s.Channels = s.Channels[1:]
	require.Equal(t, s, again)
}
