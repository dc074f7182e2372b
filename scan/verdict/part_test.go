package verdict

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// within makes a reading rest on a part of its channel, in MHz above its lower
// edge.
func within(r *measure.Reading, lowMHz, highMHz float64) *measure.Reading {
	r.Seen = []band.Span{{LowHz: r.Channel.LowerHz + lowMHz*1e6, HighHz: r.Channel.LowerHz + highMHz*1e6}}
	return r
}

// Truth: arithmetic.
func TestBasis(t *testing.T) {
	for share, want := range map[float64]string{
		0: "", 1: "", 0.995: "", 2.1 / 6: "from 2.1 of its 6 MHz", 5.9 / 6: "from 5.9 of its 6 MHz", 0.25 / 6: "from 0.25 of its 6 MHz",
	} {
		require.Equal(t, want, Basis(share), "%g", share)
	}
}

// Truth: the grades' definition, and 1.96 standard deviations to either side.
func TestCould(t *testing.T) {
	for _, c := range []struct {
		margin, sigma float64
		want          string
	}{
		{8, 0.2, ""}, {8, 1, "could be firm"}, {9.5, 1, "could be slim"}, {2, 4, "could be trace, slim or firm"},
		{6, 2, "could be cliff or firm"}, {2, 0.9, "could be slim"}, {20, 1, ""}, {-1, 0.4, ""}, {-1, 0.6, "could be cliff"},
	} {
		require.Equal(t, c.want, Could(&measure.Estimate{Value: c.margin, Sigma: c.sigma}), "%g ± %g", c.margin, c.sigma)
	}
	require.Empty(t, Could(nil))
}

// Truth: what is inferred of a part is no evidence against the whole until it
// stands clear of its own uncertainty.
func TestLimitsOfAPart(t *testing.T) {
	echo := []measure.Echo{{DelayUS: measure.Estimate{Value: 1.4}, LevelDB: measure.Estimate{Value: -4}}}
	for name, c := range map[string]struct {
		high, sigma float64
		echoes      []measure.Echo
		want        string
	}{
		"the whole, by its shape":      {6, 1.5, nil, "echoes"},
		"a third, by its shape":        {2.1, 0.2, nil, "weak"},
		"a third, with the echo":       {2.1, 0.2, echo, "echoes"},
		"a third, with a vague echo":   {2.1, 3, echo, "weak"},
		"two thirds, by their shape":   {4.1, 0.2, nil, "echoes"},
		"two thirds, a vague estimate": {4.1, 3, nil, "weak"},
	} {
		r := within(reading(4, 5, 0), 0, c.high)
		r.EchoCost.Sigma, r.Echoes, r.Ripple = c.sigma, c.echoes, estimate(7)
		require.Equal(t, c.want, limits(Of(r, nil, nil)), name)
	}
	r := within(reading(4, 5, 0), 0, 4.1)
	r.Ripple = estimate(7)
	require.Contains(t, Of(r, nil, nil).Reasons[0].Evidence, "what was heard of the channel is uneven by 7 dB")
}

// Truth: a grade of which the interval reaches another is surer when all is
// heard; where it does not, or all was heard, there is nothing to add.
func TestHearMore(t *testing.T) {
	vague := within(reading(8, 0, 0), 2, 4)
	vague.Margin.Sigma = 1.2
	sure := within(reading(8, 0, 0), 2, 4)
	whole := reading(8, 0, 0)
	whole.Margin.Sigma = 1.2
	for r, want := range map[*measure.Reading]bool{vague: true, sure: false, whole: false} {
		v := Of(r, nil, nil)
		require.Equal(t, Slim, v.Grade, "the grade is the margin's alone")
		require.Equal(t, want, strings.Contains(strings.Join(v.Advice, "\n"), "rest of the channel"))
	}
}

// Truth: none of its pointers is promised.
func TestAnythingMayBeMissing(t *testing.T) {
	c := reading(0, 0, 0).Channel
	for _, presence := range []measure.Presence{"", measure.Vacant, measure.Unsure, measure.Present} {
		for _, standard := range []measure.Standard{"", measure.ATSC1, measure.ATSC3, measure.OtherStandard} {
			for _, occupant := range []*measure.Occupant{nil, {}} {
				for _, doubt := range []measure.Doubt{
					"", measure.DoubtNoData, measure.DoubtSpur, measure.DoubtOffPlace, measure.DoubtNoClock,
					measure.DoubtNoPilot, measure.DoubtShape, measure.DoubtNoTraining, measure.DoubtNoiseLevel,
				} {
					for _, margin := range []*measure.Estimate{nil, estimate(-2), estimate(5)} {
						r := within(&measure.Reading{
							Channel: c, Presence: presence, Standard: standard, Occupant: occupant, Margin: margin,
							Suspicion: []measure.Doubt{doubt}, UnderCost: estimate(3), UnderTilted: true, Moving: true,
						}, 1, 2)
						require.NotPanics(t, func() { Of(r, r, r) })
					}
				}
			}
		}
	}
}

// Truth: 3GPP TS 36.211 (carriers 15 kHz apart), ITU-R BT.1700 (lines of 63.56
// and 64 µs). What fills a channel and is no station is never called one.
func TestOccupant(t *testing.T) {
	for _, c := range []struct {
		low, high        float64
		span             [2]float64
		uneven, on, rept float64
		want             string
	}{
		{0, 6, [2]float64{518.1, 523.9}, 1.6, 1, 66.7e-6,
			"something fills the channel, 518.1 to 523.9 MHz, and is no television station: flat within 2 dB, always on, like itself after 66.7 µs, as OFDM is whose carriers stand 15 kHz apart, such as LTE"},
		{2, 4, [2]float64{520, 522}, 9, 0.3, 0,
			"something fills all that was heard of the channel, 520.0 to 522.0 MHz, and is no television station: uneven by 9 dB, in bursts, on for 30 % of the time"},
		{0, 6, [2]float64{518, 524}, 12, 1, 63.56e-6,
			"something fills the channel, 518.0 to 524.0 MHz, and is no television station: uneven by 12 dB, always on, like itself every 63.6 µs, as analogue video is from line to line"},
		{0, 6, [2]float64{519, 520.4}, 2, 1, 112e-6,
			"something fills 1.4 MHz of the channel, 519.0 to 520.4 MHz, and is no television station: flat within 2 dB, always on, like itself after 112 µs, as OFDM is whose carriers stand 8.93 kHz apart"},
		{0, 6, [2]float64{518, 524}, 0, 0, 0, "something fills the channel, 518.0 to 524.0 MHz, and is no television station"},
		{0, 6, [2]float64{518, 524}, 0, 0, 0.01, "something fills the channel, 518.0 to 524.0 MHz, and is no television station: like itself every 10 ms"},
	} {
		r := within(reading(4, 0, 0), c.low, c.high)
		r.Presence, r.Standard, r.Suspicion = measure.Unsure, measure.OtherStandard, []measure.Doubt{measure.DoubtNoTraining}
		r.Occupant = &measure.Occupant{Span: band.Span{LowHz: c.span[0] * 1e6, HighHz: c.span[1] * 1e6}, UnevenDB: c.uneven, OnShare: c.on, RepeatSeconds: c.rept}
		for _, p := range []measure.Presence{measure.Unsure, measure.Present} {
			r.Presence = p
			v := Of(r, nil, nil)
			require.Empty(t, v.Grade)
			require.Len(t, v.Reasons, 1)
			require.Equal(t, OtherStandard, v.Reasons[0].Limit)
			require.Equal(t, c.want, v.Reasons[0].Evidence)
		}
	}
	r := reading(20, 0, 0)
	r.Occupant = &measure.Occupant{}
	require.Equal(t, Firm, Of(r, nil, nil).Grade, "training is stronger evidence")
}

// Truth: a second station lies under all of the channel, a neighbour's spill
// under the end that is next to it.
func TestWhatStandsUnderOneEnd(t *testing.T) {
	r := reading(4, 0, 6)
	said := func(below, above *measure.Reading) Reason { return Of(r, below, above).Reasons[0] }
	unheard, weak := &measure.Reading{}, reading(2, 0, 0)
	require.Contains(t, said(nil, nil).Evidence, "likely another station on this channel")
	r.UnderTilted = true
	for _, n := range [][2]*measure.Reading{{nil, nil}, {unheard, weak}, {weak, unheard}, {unheard, unheard}} {
		got := said(n[0], n[1])
		require.Equal(t, Adjacent, got.Limit)
		require.Contains(t, got.Evidence, "which was not heard here")
		require.NotContains(t, got.Evidence, "another station on this channel")
	}
	got := said(weak, nil)
	require.Equal(t, CoChannel, got.Limit)
	require.Contains(t, got.Evidence, "no channel next door is strong enough")
}
