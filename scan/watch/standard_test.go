package watch

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
)

// Truth: the readings put in. What is no 8-VSB is no picture however strong it is; a
// channel that never came up is told what it lacks, and one that was not heard at
// all what it lacks at least, whether the log still holds the readings or their hours.
func TestNeverUpAndOtherStandards(t *testing.T) {
	weak, strong, most, worst := -4.5, 12.0, -31.24, -29.71
	for _, span := range []time.Duration{20 * time.Minute, 30 * time.Hour} {
		r := watched(t, 10*time.Second, span, []int{22, 24, 27, 28, 36}, func(i int, _ time.Duration) *float64 {
			return [...]*float64{&strong, &weak, nil, nil, nil}[i]
		}, func(i int, since time.Duration, r *Reading) {
			switch i {
			case 2:
				r.Standard = measure.ATSC3
			case 3:
				r.Standard = measure.OtherStandard
			case 4:
				if r.AtMostDB = &most; since == 5*time.Minute {
					r.AtMostDB = &worst
				}
			}
		})
		require.Equal(t, 1.0, r.Channels[0].Available.Value)
		for _, c := range r.Channels[1:] {
			require.Zero(t, c.Available.Value, c.RFChannel)
		}
		require.Equal(t, 1.0, r.Channels[2].ATSC3)
		require.Equal(t, 1.0, r.Channels[3].Other)
		require.InDelta(t, -29.7, *r.Channels[4].AtMostDB, 0.051)
		said := map[int]Finding{}
		for _, f := range r.Findings {
			for _, rf := range f.RFChannels {
				said[rf] = f
			}
		}
		require.NotContains(t, said, 22)
		require.Regexp(t, `it lacks 4\.[45] dB half of the time and 4\.[45] dB for 99 %`, said[24].Text) // bins of 0.25 dB
		require.Equal(t, Foreign, said[27].Kind)
		require.Contains(t, said[27].Text, "channel 27 is ATSC 3.0, which has no margin here")
		require.Contains(t, said[28].Text, "no 8-VSB in it")
		require.Equal(t, NeverUp, said[36].Kind)
		require.True(t, strings.HasSuffix(said[36].Text, "it lacks more than 29 dB"), said[36].Text)
	}
}
