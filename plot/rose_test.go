package plot

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// turnedHouse is a house at which so many channels were marked at so many headings,
// their stations all around.
func turnedHouse(channels, headings int) *Places {
	var wanted []site.Want
	p := &Places{House: "Mill Lane", Labels: map[int]string{}, Towards: map[int][]float64{}, Beams: map[int]Beam{}}
	for k := range channels {
		rf := 14 + k
		towards := math.Mod(77*float64(k), 360)
		wanted = append(wanted, site.Want{RFChannel: rf, Importance: 1})
		p.Labels[rf], p.Towards[rf] = fmt.Sprintf("%d.1 QLONG-NAME", k+2), []float64{towards, towards + 6}
		p.Beams[rf] = Beam{Heading: measure.Estimate{Value: towards, Sigma: 1}, Width: &measure.Estimate{Value: 40, Sigma: 2}}
	}
	var marks []site.Mark
	for i := range headings {
		deg := 360 * float64(i) / float64(headings)
		m := site.Mark{Time: time.Date(2026, 3, 5, 12, i, 0, 0, time.UTC), Place: "mast", BearingDeg: &deg}
		for k, w := range wanted {
			level := 14*math.Cos((deg-77*float64(k))*math.Pi/180) + 2
			m.Heard = append(m.Heard, site.Heard{RFChannel: w.RFChannel, Presence: measure.Present, Standard: measure.ATSC1,
				Margin: &measure.Estimate{Value: level, Sigma: 0.3}})
		}
		marks = append(marks, m)
	}
	o := site.DefaultOptions()
	p.Wanted, p.Ranking = wanted, *decide.Rank(site.Spots(marks, o), nil, wanted, o)
	return p
}

// Common practice, no source: text that stands on other text, or that a thick line
// runs through, is not read.
func TestRoseLabelsStandFree(t *testing.T) {
	for _, size := range [][2]int{{1, 36}, {2, 12}, {5, 12}, {12, 24}} {
		p := turnedHouse(size[0], size[1])
		place, rows := p.Turned()
		var r *rose
		labels := drawn(func(pn *pen) {
			r = &rose{pen: pn, scale: newScale(), places: p, rows: rows}
			r.draw(Options{Title: "x"}, place)
		}).labels
		numbers := 0
		for i, a := range labels {
			for _, b := range labels[:i] {
				require.True(t, free(a.box, []box{b.box}), "%v: %q stands on %q", size, a.text, b.text)
			}
			var n int
			if _, err := fmt.Sscan(a.text, &n); err == nil {
				numbers++
			}
		}
		require.Greater(t, numbers, size[0]*2, "%v: margins are written", size)
		if size[0] != 1 {
			continue
		}
		// The line of the fitted peak, due north, from the street to the rim.
		for _, l := range labels {
			across := l.box.x0 < r.middle.x && l.box.x1 > r.middle.x
			require.False(t, across && l.box.y0 > r.middle.y+0.5*r.radius && l.box.y1 < r.middle.y+r.radius, l.text)
		}
	}
}
