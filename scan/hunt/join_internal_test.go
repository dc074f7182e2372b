package hunt

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Truth: made-up suspects. Those of one cause become one, whose costs in one
// channel add up as powers do; all others stay as they are.
func TestJoin(t *testing.T) {
	nine, _ := band.Plans()[0].Channel(9)
	ten, _ := band.Plans()[0].Channel(10)
	harm := func(c band.Channel, dB float64) []Harm {
		return []Harm{{Channel: c, CostDB: &measure.Estimate{Value: dB, Sigma: 0.2}}}
	}
	product := func(mhz, dB float64, c cause) Suspect {
		return Suspect{
			Kind: Product, Name: "product", FrequencyHz: &measure.Estimate{Value: mhz * 1e6}, Harms: harm(nine, dB),
			Evidence: []string{"it rises by 2.0 dB for each dB of gain"}, cause: c,
		}
	}
	pulses := func(where string, c band.Channel, dB float64) Suspect {
		return Suspect{
			Kind: Impulses, Name: "impulse noise with the mains at 120 Hz in the " + where + " band",
			Harms: harm(c, dB), Evidence: []string{"120.0 times a second"}, cause: cause{Impulses, "120 Hz"}, bandName: where,
		}
	}
	left := Suspect{Kind: RaisedFloor, Harms: harm(nine, 4)}
	left.spills(9, 10)
	right := left
	right.spills(9, 8)
	fm := cause{Product, "fm"}
	list := []Suspect{
		pulses("UHF", ten, 1), product(189.8, 3, fm), {Kind: Tone, Name: "tone", Harms: harm(ten, 20)},
		product(190.2, 10, fm), pulses("high VHF", nine, 2), product(190.9, 0.5, cause{Product, "elsewhere+fm"}), left, right,
	}
	got := join(list)
	var names []string
	for _, s := range got {
		names = append(names, s.Name)
	}
	require.Equal(t, []string{
		"tone", "products of FM broadcasting at 190.20 and 189.80 MHz", "channel 9 spilling into channels 10 and 8",
		"impulse noise with the mains at 120 Hz in the high VHF and UHF bands", "product",
	}, names)
	require.Equal(t, []float64{190.2e6, 189.8e6}, got[1].PlacesHz)
	require.InDelta(t, decibel(10+linear(3)-1), got[1].WorstDB(), 1e-9)
	require.Equal(t, "at 189.800 MHz it rises by 2.0 dB for each dB of gain", got[1].Evidence[1])
	require.Len(t, got[3].Harms, 2)
	require.Equal(t, 9, got[3].Harms[0].Channel.Number)
	require.Equal(t, harm(nine, 10), list[3].Harms, "what was handed in stays as it was")
}
