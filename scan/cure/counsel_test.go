package cure

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/measure"
)

// house is one channel at a margin, with so much noise from outside over the
// receiver's own as a resistor in the antenna's place would tell.
func house(t *testing.T, marginDB, noiseOverBareDB float64, lead string) (Setup, *Channel) {
	t.Helper()
	c, ok := band.Plans()[0].Channel(20)
	require.True(t, ok)
	line, err := ParseLine(lead)
	require.NoError(t, err)
	gain := 49.6
	s := Setup{
		ThresholdDB: 15.2, TopGainDB: gain, NoiseFigure: exactly(6), Line: line, Overload: &Overload{},
		Bare: map[int]measure.Estimate{20: {Value: noiseOverBareDB, Sigma: 0.1}},
		Channels: []Channel{{
			Channel: c, Wanted: true, Presence: measure.Present, Standard: measure.ATSC1, GainDB: &gain,
			Margin: &measure.Estimate{Value: marginDB, Sigma: 0.1}, CN: &measure.Estimate{Value: marginDB + 15.2, Sigma: 0.1},
			Power: &measure.Estimate{Value: -20, Sigma: 0.1}, Noise: &measure.Estimate{Value: -36, Sigma: 0.1},
		}},
	}
	return s, &s.Channels[0]
}

// Truth: arithmetic: 8 dB of lead before 6 dB of noise figure make 14, and an
// amplifier of 20/3.5 dB about 6: 8 come back. Noise of 13 dB more from outside sets
// the floor whatever follows. Echoes, other stations and other standards are not
// cured by dB.
func TestCounsel(t *testing.T) {
	s, _ := house(t, -4, 0, "loss 8dB")
	k := New(s).Counsels()[0]
	require.Equal(t, AmplifierHelps, k.Amplifier, k.Why)
	require.Empty(t, k.First)

	s, _ = house(t, -24, 0, "loss 8dB")
	k = New(s).Counsels()[0]
	require.Equal(t, AmplifierCannot, k.Amplifier)
	require.Contains(t, k.Why, "24 dB are short")

	s, _ = house(t, -1.7, 13, "none")
	k = New(s).Counsels()[0]
	require.Equal(t, AmplifierCannot, k.Amplifier)
	require.Contains(t, k.Why, "the air sets the floor")
	require.Contains(t, k.First, "1.7 dB are short")

	s, c := house(t, 2, 0, "none")
	c.EchoCost, c.UnderCost = 5, 6
	k = New(s).Counsels()[0]
	limits := strings.Join(k.Limits, "\n")
	require.Contains(t, limits, "echoes take 5 dB of its margin, and no amplifier gives that back")
	require.Contains(t, limits, "another station on the same frequencies takes 6 dB")

	s, c = house(t, 2, 0, "none")
	c.Standard = measure.ATSC3
	k = New(s).Counsels()[0]
	require.Equal(t, AmplifierNoMatter, k.Amplifier)
	require.Contains(t, k.Why, "ATSC 3.0")
}

// Truth: a second station that stands under the first moves with it: where it is all
// there is, no dB changes anything. Where noise counts as much, an amplifier that
// takes all noise away gains 3 dB.
func TestUnderMovesAlong(t *testing.T) {
	for _, c := range []struct{ under, most float64 }{{20, 0.2}, {3.0103, 3.2}} {
		s, ch := house(t, 2, 0, "loss 12dB")
		ch.UnderCost = c.under
		best := New(s).AtMost()[0].Change
		require.Less(t, best.High, c.most)
		require.Greater(t, best.Low, c.most-1.2)
	}
}

// Truth: where half of a channel is 30 dB down the equaliser has half the band, so that
// it gains less than the whole of what the noise falls by while it is near that noise,
// and all of it on a flat channel.
func TestUnevenChannels(t *testing.T) {
	half := shape{1.998, 1.998, 0.002, 0.002}
	require.InDelta(t, 6, shape(nil).change(3, 3.981), 1e-3)
	got := half.change(30, 3.981)
	require.Less(t, got, 6.0)
	want := db((math.Sqrt((1+1.998*30*3.981)*(1+0.002*30*3.981)) - 1) / (math.Sqrt((1+1.998*30)*(1+0.002*30)) - 1))
	require.InDelta(t, want, got, 1e-6)
	for _, cost := range []float64{0.5, 2, 6} {
		s := sloped(cost, 40)
		require.InDelta(t, cost, db(s.mean(40)/40), 0.01)
	}
}

// Truth: what was typed, and arithmetic.
func TestParts(t *testing.T) {
	for text, want := range map[string]int{
		"none": 0, "cable rg6:50ft": 1, "amplifier 20dB/3dB, cable RG-59:15m, splitter 2": 3, "cable 3.2dB@600, loss 4": 2,
	} {
		line, err := ParseLine(text)
		require.NoError(t, err, text)
		require.Len(t, line, want)
		for i := range line { // what is written is read back
			again, err := ParseLine(line[i].String())
			require.NoError(t, err)
			require.Equal(t, line[i], again[0])
		}
	}
	for _, bad := range []string{"", "rope", "cable", "cable rg6", "cable rg6:50", "cable rg6:-1ft", "cable rg6:NaNft", "splitter 1", "splitter 99", "loss -3", "amplifier 20/3/9/9", "antenna 3dB", "cable 3dB@1", "filter uhf", "loss Inf"} {
		_, err := ParseLine(bad)
		require.Error(t, err, bad)
	}
	p, err := ParsePart(Antenna, "low:-3dB, uhf:+5dB")
	require.NoError(t, err)
	require.InDelta(t, -3, p.signalDB(60e6, 0), 1e-9)
	require.InDelta(t, 5, p.signalDB(600e6, 0), 1e-9)
	require.Zero(t, p.signalDB(190e6, 0))
	two := splitterLoss(2)
	four := splitterLoss(4)
	require.InDelta(t, 3.5, (two.Low+two.High)/2, 0.05) // common practice
	require.InDelta(t, 7, (four.Low+four.High)/2, 0.05)
}

func FuzzParseLine(f *testing.F) {
	for _, s := range []string{"none", "cable rg6:50ft, splitter 2", "amplifier 20dB/3dB/30dBm", "cable 3.2dB@600", "filter fm/1dB"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		line, err := ParseLine(s)
		if err != nil {
			return
		}
		gain, factor, _ := chain(line, 600e6, 1)
		require.False(t, math.IsNaN(gain) || math.IsNaN(factor) || factor < 1-1e-9, "%q: %g %g", s, gain, factor)
	})
}

// Truth: arithmetic: of 1 % from behind the gain 20 dB less make twice the noise at the
// input, less the 1 % itself.
func TestBackEnd(t *testing.T) {
	figure := func(v float64) *character.Figure { return &character.Figure{Value: v, Sigma: 0.1} }
	at := func(gain, overInputDB float64) character.Gain {
		floor := -110 + gain + overInputDB
		return character.Gain{NameDB: gain, RealDB: figure(gain), FloorDBFSHz: &floor}
	}
	c := &character.Character{Gains: []character.Gain{at(30, db(1+0.01*99)), at(50, 0)}}
	got := BackEndOf(c)
	require.InDelta(t, 0.01, math.Sqrt(got.Low*got.High), 1e-6)
	require.Zero(t, BackEndOf(nil))
	require.Zero(t, BackEndOf(&character.Character{Gains: []character.Gain{at(50, 0)}}))
}
