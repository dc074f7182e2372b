package hunt

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
)

func tonesAt(hz ...float64) []Suspect {
	var out []Suspect
	for _, f := range hz {
		out = append(out, Suspect{Kind: Tone, Name: "tone", FrequencyHz: &measure.Estimate{Value: f, Sigma: 20}, Evidence: []string{"a line"}})
	}
	return out
}

// Truth: made-up rows. The multiples of one frequency, some missing and each a
// little off, among lone tones become one suspect with that spacing.
func TestTonesInARow(t *testing.T) {
	r := rand.New(rand.NewPCG(81, 82))
	for range 200 {
		spacing := 30e3 + 400e3*r.Float64()
		begin := 518e6 + 1e6*r.Float64()
		var places []float64
		kept := 0
		for k := 0; kept < 6; k++ {
			if k > 0 && kept < 5 && r.IntN(4) == 0 {
				continue
			}
			places = append(places, begin+spacing*float64(k)+20*r.NormFloat64())
			kept++
		}
		for range r.IntN(3) {
			places = append(places, 518e6+6e6*r.Float64())
		}
		r.Shuffle(len(places), func(i, j int) { places[i], places[j] = places[j], places[i] })
		list := tonesAt(places...)
		markRows(list)
		got := join(list)
		rows := 0
		for i := range got {
			if s := &got[i]; s.SpacingHz != nil {
				rows++
				require.GreaterOrEqual(t, len(s.PlacesHz), 6)
				require.InDelta(t, spacing, s.SpacingHz.Value, 5*s.SpacingHz.Sigma+1)
				require.Contains(t, s.Name, "tones in a row")
			}
		}
		require.Equal(t, 1, rows, "%v: %v", spacing, places)
	}
}

// Truth: theory. Tones that stand anywhere are a row with the probability
// that is stated, at the most.
func TestTonesAnywhere(t *testing.T) {
	r := rand.New(rand.NewPCG(83, 84))
	const towns = 3000
	rows := 0
	for range towns {
		var places []float64
		for range 3 + r.IntN(10) {
			places = append(places, 518e6+18e6*r.Float64())
		}
		list := tonesAt(places...)
		markRows(list)
		for i := range list {
			if list[i].SpacingHz != nil {
				rows++
				break
			}
		}
	}
	t.Logf("%d of %d", rows, towns)
	require.LessOrEqual(t, rows, 9) // of 3 expected at the most
}
