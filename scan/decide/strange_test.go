package decide

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// Truth: the promise that whatever a house's file can hold is ranked: margins of
// any size, curves of any shape, and nothing that is no number comes out.
func TestAnyHouse(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	values := []float64{-1e4, -90, -3, 0, 0.001, 9, 40, 1e4}
	for n := range 60 {
		var marks []site.Mark
		for i := range r.IntN(7) {
			m := site.Mark{Time: noon, Place: fmt.Sprint(r.IntN(3))}
			if r.IntN(4) > 0 {
				m.BearingDeg = ptr([]float64{0, 360, 359.9, 90, float64(i * 20)}[r.IntN(5)])
			}
			for rf := range r.IntN(5) {
				h := site.Heard{RFChannel: 7 + rf}
				if r.IntN(4) > 0 {
					h.Margin = &measure.Estimate{Value: values[r.IntN(len(values))], Sigma: []float64{0, 0.3, 1e4}[r.IntN(3)]}
				}
				m.Heard = append(m.Heard, h)
			}
			marks = append(marks, m)
		}
		var turns []site.TurnRecord
		for range r.IntN(3) {
			turn := site.TurnRecord{Time: noon, Place: fmt.Sprint(r.IntN(4))}
			for rf := range r.IntN(4) {
				c := site.Curve{RFChannel: 7 + rf}
				for range []int{0, 1, 2, 30, 300}[r.IntN(5)] {
					c.Points = append(c.Points, site.Aimed{BearingDeg: 360 * r.Float64() * float64(r.IntN(2)), LevelDB: math.Max(-1e3, math.Min(1e3, values[r.IntN(len(values))]))})
				}
				turn.Curves = append(turn.Curves, c)
			}
			turns = append(turns, turn)
		}
		o := site.DefaultOptions()
		o.EnoughDB = []float64{9, -20, 60, 0}[n%4]
		k := Rank(site.Spots(marks, o), turns, wants(1, 9, 0, 1, 1)[:r.IntN(6)], o)
		for _, row := range k.Rows {
			require.False(t, math.IsNaN(row.Value+row.BestAhead+row.CouldGain+row.Promise+row.Expected))
			require.GreaterOrEqual(t, row.BestAhead, 0.0)
			for _, c := range row.Chances {
				require.True(t, c.Holds >= 0 && c.Holds <= 1 && c.Decodes >= 0 && c.Decodes <= 1, "%v", c)
			}
		}
		for _, h := range k.Headings {
			require.False(t, math.IsNaN(h.Heading.Value+h.Heading.Sigma+h.FromDeg+h.ToDeg+h.Value))
			require.True(t, h.Heading.Value >= 0 && h.Heading.Value < 360)
		}
		for _, s := range k.Next {
			require.NotEmpty(t, s.Channels)
		}
	}
}
