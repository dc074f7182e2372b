package excerpt

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
)

// stay is one of half a second at 2.4 MS/s around a frequency in MHz.
func stay(mhz float64) Source {
	return Source{
		Span:        recording.Span{Stay: tuner.Stay{CenterHz: mhz * 1e6, RateHz: 2.4e6, GainDB: 30}, Samples: 1_200_000},
		SampleBytes: 1,
	}
}

// partial is a channel of which a part was heard, in MHz.
func partial(t *testing.T, number int, presence measure.Presence, lowMHz, highMHz float64) scan.Channel {
	c, ok := band.Plans()[0].Channel(number)
	require.True(t, ok)
	gain := 30.0
	ch := scan.Channel{Reading: measure.Reading{
		Channel: c, Seen: []band.Span{{LowHz: lowMHz * 1e6, HighHz: highMHz * 1e6}}, Presence: presence, GainDB: &gain,
	}}
	if presence == measure.Present {
		ch.Standard, ch.Margin, ch.Grade = measure.ATSC1, &measure.Estimate{Value: 5, Sigma: 1.2}, "slim"
	}
	return ch
}

// Truth: what a recording of ordinary make holds: one tuning, a part of one
// channel and nothing beside it. There is no company to keep, and none is asked
// for.
func TestKeepsAPart(t *testing.T) {
	s := &scan.Survey{Channels: []scan.Channel{partial(t, 22, measure.Present, 519.95, 522.05)}}
	choice, err := Choose(s, []Source{stay(521)}, Options{Bytes: 300e3})
	require.NoError(t, err)
	require.Equal(t, []int{22}, choice.Whole)
	require.Empty(t, choice.Left)
	require.GreaterOrEqual(t, choice.Dwell, LeastDwell)
	require.Less(t, choice.Dwell, 150*time.Millisecond)
	require.Len(t, choice.Parts, 1)

	// One whose visit heard the pilot's surroundings alone.
	s.Channels[0] = partial(t, 22, measure.Present, 518, 518.25)
	choice, err = Choose(s, []Source{stay(517.2)}, Options{Bytes: 300e3})
	require.NoError(t, err)
	require.Equal(t, []int{22}, choice.Whole)
}

// Truth: the README: of vacant channels a little is kept for their noise, also of
// one of which a part was heard; where the visit heard more of it at another gain,
// half of it is no reference at this one.
func TestPartsAsReferences(t *testing.T) {
	s := &scan.Survey{Channels: []scan.Channel{
		partial(t, 22, measure.Present, 519.95, 522.05),
		partial(t, 24, measure.Vacant, 530.95, 533.05),
	}}
	sources := []Source{stay(521), stay(532)}
	choice, err := Choose(s, sources, Options{Bytes: 260e3})
	require.NoError(t, err)
	require.Equal(t, []int{22}, choice.Whole)
	require.Equal(t, []int{24}, choice.References)

	s.Channels[1].Seen[0].LowHz = 530e6
	sources[1].CenterHz += 0.5e6
	choice, err = Choose(s, sources, Options{Bytes: 260e3})
	require.NoError(t, err)
	require.Equal(t, []int{22}, choice.Whole)
	require.NotContains(t, choice.References, 24)
}
