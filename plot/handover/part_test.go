package handover

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// Truth: what the house's file says: how much of a channel was heard stands on
// the page beside the figure that rests on it, and what is no station is not
// promised to be one.
func TestPartsOnThePage(t *testing.T) {
	p := house(t, "")
	part := heard(8, 7.5)
	part.Margin.Sigma, part.MarginMethod = 1.2, measure.MarginTraining
	part.SeenShare, part.Seen = 0.35, []band.Span{{LowHz: 181e6, HighHz: 183.1e6}}
	taken := site.Heard{RFChannel: 35, Presence: measure.Unsure, Standard: measure.OtherStandard, Occupied: true,
		Limits: []verdict.Limit{verdict.OtherStandard}, Evidence: []string{"something fills the channel, 596.2 to 601.8 MHz, and is no television station"}}
	for i := range p.Marks {
		for k := range p.Marks[i].Heard {
			switch p.Marks[i].Heard[k].RFChannel {
			case 8:
				p.Marks[i].Heard[k] = part
			case 35:
				p.Marks[i].Heard[k] = taken
			}
		}
	}
	o := site.DefaultOptions()
	p.Places.Ranking = *decide.Rank(site.Spots(p.Marks, o), nil, p.Places.Wanted, o)
	page := write(t, p)
	for _, want := range []string{
		"heard 2.1 of its 6 MHz, the rest is inferred; could be firm",
		" from 2.1 of its 6 MHz", "Not for a TV set", "Something that is no television station uses this channel.",
		"596.2 to 601.8 MHz",
	} {
		require.True(t, strings.Contains(page, want), want)
	}
	require.NotContains(t, page, "by training")
	require.NotContains(t, write(t, house(t, "")), "of its 6 MHz")
}
