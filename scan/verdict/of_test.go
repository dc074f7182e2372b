package verdict

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

func estimate(v float64) *measure.Estimate { return &measure.Estimate{Value: v, Sigma: 0.1} }

// heard is some of a channel.
var heard = []band.Span{{LowHz: 518e6, HighHz: 524e6}}

// reading is a present channel with a margin, and what echoes and things under
// the signal cost of it.
func reading(marginDB, echoes, under float64) *measure.Reading {
	c, _ := band.Plans()[0].Channel(22)
	return &measure.Reading{
		Channel: c, Seen: []band.Span{c.Span()}, Presence: measure.Present, Standard: measure.ATSC1,
		PowerDBFS: estimate(-20), CN: estimate(marginDB + 15.2 + echoes + under), Margin: estimate(marginDB),
		EchoCost: estimate(echoes), UnderCost: estimate(under),
	}
}

func limits(v Verdict) string {
	var out []string
	for _, r := range v.Reasons {
		out = append(out, string(r.Limit))
	}
	return strings.Join(out, " ")
}

// Truth: the grades' definition; 9 dB is 1.64 times the 5.5 dB of ITU-R P.1546.
func TestGrades(t *testing.T) {
	for margin, want := range map[float64]Grade{
		-30: Trace, -0.01: Trace, 0: Cliff, 2.99: Cliff, 3: Slim, 8.99: Slim, 9: Firm, 40: Firm,
	} {
		require.Equal(t, want, Of(reading(margin, 0, 0), nil, nil).Grade, "%g dB", margin)
	}
	require.InDelta(t, 1.64*5.5, FirmMarginDB, 0.1)
}

// Truth: a limit is named by what it costs, the costliest first.
func TestLimits(t *testing.T) {
	for _, c := range []struct {
		margin, echoes, under float64
		want                  string
	}{
		{4, 0.2, 0, "weak"},
		{4, 6, 0, "echoes"},       // without the echoes it were firm
		{-3, 3, 0, "echoes weak"}, // and here it were not
		{2, 0, 12, "co-channel"},
		{2, 3, 5, "co-channel echoes"},
		{2, 5, 3, "echoes co-channel"},
		{-9, 2, 3, "co-channel echoes weak"},
		{12, 4, 0, ""}, // firm is firm
	} {
		v := Of(reading(c.margin, c.echoes, c.under), nil, nil)
		require.Equal(t, c.want, limits(v), "margin %g, echoes %g, under %g", c.margin, c.echoes, c.under)
		require.Equal(t, c.want == "", len(v.Advice) == 0)
	}
}

func TestEchoEvidence(t *testing.T) {
	r := reading(4, 6, 0)
	r.Echoes = []measure.Echo{
		{DelayUS: measure.Estimate{Value: 0.4}, LevelDB: measure.Estimate{Value: -12}},
		{DelayUS: measure.Estimate{Value: 1.4}, LevelDB: measure.Estimate{Value: -4}},
	}
	// Truth: light goes 983.57 ft in a microsecond.
	require.Equal(t, "echo 1.4 µs late, -4 dB, about 1380 ft or 420 m of extra path, costs 6 dB: turn away from it or try a foot or two sideways",
		Of(r, nil, nil).Reasons[0].Evidence)
	r.Echoes[1].DelayUS.Value = -1.4
	require.Contains(t, Of(r, nil, nil).Reasons[0].Evidence, "1.4 µs earlier")
}

// Truth: what dsp/vsb's equaliser of 64 and 192 taps falls short of the ideal.
func TestHardEcho(t *testing.T) {
	for _, c := range []struct {
		delayUS, levelDB float64
		named            bool
	}{
		{5, -1, true}, {5, -6, false}, {-2, -8, true}, {-0.4, -8, false}, {-2, -15, false}, {18.5, -10, true}, {18.5, -18, false},
	} {
		r := reading(12, 1, 0)
		r.Echoes = []measure.Echo{{DelayUS: measure.Estimate{Value: c.delayUS}, LevelDB: measure.Estimate{Value: c.levelDB}}}
		v := Of(r, nil, nil)
		require.Equal(t, Firm, v.Grade)
		require.Equal(t, c.named, limits(v) == "echoes", "%+v: %v", c, v.Reasons)
	}
}

func TestNeighbour(t *testing.T) {
	r, n := reading(4, 0, 6), reading(30, 0, 0)
	n.Channel, _ = band.Plans()[0].Channel(23)
	n.PowerDBFS = estimate(5)
	require.Equal(t, "co-channel", limits(Of(r, nil, n)), "evenly under the channel it is no neighbour")
	r.UnderTilted = true
	v := Of(r, nil, n)
	require.Equal(t, "adjacent", limits(v))
	require.Contains(t, v.Reasons[0].Evidence, "channel 23 next door is 25 dB stronger")
	// Powers at unlike gains are compared as if at one.
	low, high := 10.0, 40.0
	r.GainDB, n.GainDB = &high, &low
	require.Contains(t, Of(r, nil, n).Reasons[0].Evidence, "55 dB stronger")
}

func TestOtherThanEightVSB(t *testing.T) {
	r := &measure.Reading{Seen: heard, Presence: measure.Present, Standard: measure.ATSC3, CN: estimate(25)}
	v := Of(r, nil, nil)
	require.Equal(t, "other-standard", limits(v))
	require.Contains(t, v.Reasons[0].Evidence, "whatever the aim")
	require.Empty(t, v.Grade)

	for _, d := range []measure.Doubt{
		measure.DoubtNoData, measure.DoubtSpur, measure.DoubtOffPlace, measure.DoubtNoClock,
		measure.DoubtNoPilot, measure.DoubtShape, measure.DoubtNoTraining, measure.DoubtNoiseLevel,
	} {
		r := &measure.Reading{Seen: heard, Presence: measure.Unsure, Suspicion: []measure.Doubt{d}, Pilot: &measure.Pilot{}}
		v := Of(r, nil, nil)
		require.Len(t, v.Reasons, 1, "%s", d)
		require.NotEmpty(t, v.Reasons[0].Evidence)
		require.Empty(t, v.Grade)
	}
}

func TestNothingToJudge(t *testing.T) {
	require.Equal(t, Verdict{}, Of(&measure.Reading{}, nil, nil))
	require.Equal(t, Verdict{}, Of(&measure.Reading{Seen: heard, Presence: measure.Vacant}, nil, nil))
	pilotOnly := &measure.Reading{Seen: heard, Presence: measure.Present, Standard: measure.ATSC1}
	v := Of(pilotOnly, nil, nil)
	require.Equal(t, Trace, v.Grade)
	require.Equal(t, "weak", limits(v))
	clipped := reading(20, 0, 0)
	clipped.ClippedFraction = 0.02
	require.Equal(t, "overload", limits(Of(clipped, nil, nil)))
}

func ExampleOf() {
	r := &measure.Reading{
		Seen: heard, Presence: measure.Present, Standard: measure.ATSC1,
		CN:     &measure.Estimate{Value: 17, Sigma: 0.1},
		Margin: &measure.Estimate{Value: 1.8, Sigma: 0.1},
	}
	v := Of(r, nil, nil)
	fmt.Println(v.Grade)
	for _, reason := range v.Reasons {
		fmt.Printf("%s: %s\n", reason.Limit, reason.Evidence)
	}
	// Output:
	// cliff
	// weak: C/N 17 dB, only 2 dB to spare
}

// Truth: an amplifier makes up for what follows it, some 15 dB at the most (common
// practice): it is no answer to 24 dB, nor the first one to 1.7.
func TestAmplifierAdvice(t *testing.T) {
	for _, c := range []struct {
		margin    float64
		says, not string
	}{
		{-24, "no amplifier makes up for so much", "rooftone cure"},
		{-8, "makes up for a long cable or splitters behind it and for no more", "no amplifier"},
		{-1.7, "then a longer antenna, a higher place", "amplifier"},
		{1.7, "then a longer antenna, a higher place", "amplifier"},
	} {
		advice := strings.Join(Of(reading(c.margin, 0, 0), nil, nil).Advice, "\n")
		require.Contains(t, advice, c.says, "%g dB", c.margin)
		require.NotContains(t, advice, c.not, "%g dB", c.margin)
		require.Equal(t, 0, strings.Index(advice, "turn the antenna"), "the cheapest first")
	}
	lost := reading(0, 0, 0)
	lost.Margin = nil
	require.Contains(t, strings.Join(Of(lost, nil, nil).Advice, "\n"), "no amplifier")
}
