package excerpt

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/measure"
)

// Truth: what Options promises of channels of which somebody knows more than the
// visit: a vacant one that a set shows is kept as a station is, and before stations
// where there is no room for both.
func TestToldChannelsAreKept(t *testing.T) {
	s := &scan.Survey{Channels: []scan.Channel{
		partial(t, 22, measure.Present, 518, 524), partial(t, 30, measure.Vacant, 566, 572),
	}}
	sources := []Source{stay(519), stay(521), stay(523), stay(567), stay(569), stay(571)}
	samplesOf := func(c *Choice, source int) int64 {
		for _, p := range c.Parts {
			if p.Source == source {
				return p.Samples
			}
		}
		return 0
	}
	choice, err := Choose(s, sources, Options{Bytes: 50e6})
	require.NoError(t, err)
	require.Equal(t, int64(48_000), samplesOf(choice, 3), "20 ms of a vacant one")
	choice, err = Choose(s, sources, Options{Bytes: 50e6, Told: []int{30}})
	require.NoError(t, err)
	require.Equal(t, samplesOf(choice, 0), samplesOf(choice, 3))
	require.Equal(t, []int{22, 30}, choice.Whole)
	choice, err = Choose(s, sources, Options{Bytes: 600e3, Told: []int{30}})
	require.NoError(t, err)
	require.Equal(t, []int{30}, choice.Whole)
	require.Equal(t, []int{22}, choice.Left)
}
