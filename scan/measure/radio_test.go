package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/decibel"
	"rooftone/dsp/vsb"
	"rooftone/scan/character"
	"rooftone/scan/listen"
)

// known is a radio whose pass band falls by 3 dB to the end of what is used.
func known() *character.Character {
	c := &character.Character{
		Version: character.Version, RateHz: 2.4e6, StrayDB: 0.2,
		ClockPPM: &character.Figure{Value: 20, Sigma: 0.1},
		Tones:    []character.Tone{{Kind: character.ToneFollows, Hz: 317e3}, {Kind: character.ToneHarmonic, Hz: 57.6e6}},
	}
	for k := -24; k <= 24; k++ {
		share := float64(k) / 20
		c.Response = append(c.Response, character.Point{Share: share, DB: droopAt(share), SigmaDB: 0.1})
	}
	c.Conclude()
	return c
}

func droopAt(share float64) float64 { return -3 * math.Pow(share/character.EdgeShare, 4) }

// Truth: the definition. Where the slices tell nothing of the pass band it is the one
// that was kept, at its own rate only; where they tell of another, that is noticed.
func TestKnownPassband(t *testing.T) {
	flat := Passband{SigmaDB: unknownPassbandDB}
	k := newKnownRadio(known())
	got := k.passband(flat, 2.4e6)
	for _, share := range []float64{-0.85, -0.5, 0, 0.3, 0.8} {
		require.InDelta(t, droopAt(share), got.At(share*1.2e6, 2.4e6), 0.1)
	}
	require.Equal(t, flat, k.passband(flat, 1.92e6))
	require.Equal(t, flat, (*knownRadio)(nil).passband(flat, 2.4e6))
	require.Equal(t, got, k.passband(got, 2.4e6))
	require.Empty(t, k.misfits)

	values := make([]float64, passbandParts)
	for i := range values {
		values[i] = 2 * math.Sin(6*float64(i)/passbandParts)
	}
	coefficients, _ := fitChebyshev(values, passbandDegree)
	other := Passband{coefficients: coefficients, SigmaDB: 0.05}
	require.Equal(t, other, k.passband(other, 2.4e6), "what was heard counts")
	require.Equal(t, []string{MisfitPassband}, k.misfits)
}

// Truth: the definition. Where training tells nothing else of folding it is what was
// kept; where much of it tells of 12 dB more, that is noticed, and counts.
func TestKnownFolding(t *testing.T) {
	k := newKnownRadio(known())
	want := droopAt(2 - vsb.FoldedShare)
	usual := folding{}
	got := k.settle(usual, 2.4e6)
	require.True(t, got.known)
	require.InDelta(t, want, decibel.Of(got.share), 0.2)
	require.Equal(t, usual, k.settle(usual, 3.2e6))
	require.Equal(t, usual, (*knownRadio)(nil).settle(usual, 2.4e6))
	near := folding{decibel.Power(want + 4), 0, true, 6}
	require.Equal(t, got, k.settle(near, 2.4e6))
	few := folding{decibel.Power(want + 20), 0, true, 3}
	require.Equal(t, few, k.settle(few, 2.4e6))
	require.Empty(t, k.misfits)
	far := folding{decibel.Power(want + 12), 0, true, 6}
	require.Equal(t, far, k.settle(far, 2.4e6))
	require.Equal(t, []string{MisfitFolding}, k.misfits)
}

// Truth: the definition. Without stations the clock is the one that was kept, with
// its spread; what it allows ends where no crystal goes.
func TestKnownClock(t *testing.T) {
	k := newKnownRadio(known())
	c := k.findClock(nil)
	require.True(t, c.Prior)
	require.InDelta(t, 20, c.PPM.Value, 1e-9)
	require.InDelta(t, clockMovesPPM, c.PPM.Sigma, 0.1)
	require.True(t, c.allows(28))
	require.False(t, c.allows(60))
	require.Less(t, 4*c.PPM.Sigma, float64(listen.MaxPPM)/4)
	require.True(t, (*Clock)(nil).allows(60))
	require.Nil(t, (*knownRadio)(nil).findClock(nil))
	require.Nil(t, newKnownRadio(nil))
}

// Truth: the definition.
func TestKnownTones(t *testing.T) {
	k := newKnownRadio(known())
	require.NotEmpty(t, k.ownTone(2.4e6, 317.1e3, 40))
	require.Empty(t, k.ownTone(2.4e6, -317e3, 40))
	require.Empty(t, k.ownTone(1.92e6, 317e3, 40))
	require.Empty(t, (*knownRadio)(nil).ownTone(2.4e6, 317e3, 40))
}
