package hunt

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/intrude"
	"rooftone/dsp/vsb"
	"rooftone/scan/character"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// evenLook is a look at noise of a density, with lines at offsets from its middle.
func evenLook(centerHz float64, lines ...intrude.Line) (*look, []intrude.Line) {
	const size = 32768
	l := &look{lookKey: lookKey{centerHz: centerHz, rateHz: 2.4e6, gainDB: 40, known: true}, stepHz: 2.4e6 / size, averages: 100}
	l.density = make([]float32, size)
	for i := range l.density {
		l.density[i] = 1e-10
	}
	for i := range lines {
		lines[i].BandwidthHz, lines[i].Least = 147, 2
	}
	return l, lines
}

func examinationOf(put ...func() (*look, []intrude.Line)) *examination {
	n := NewInside(nil, tuner.Info{})
	e := &examination{Inside: n, clock: 1, passband: map[float64]measure.Passband{}, found: map[*look][]intrude.Line{}, level: map[*look]float64{}}
	for _, p := range put {
		l, lines := p()
		n.looks = append(n.looks, l)
		e.found[l], e.level[l] = lines, l.median()
	}
	return e
}

// Truth: the sampling theorem. What lies 1.4 MHz above the middle of a slice of
// 2.4 MS/s shows 1.0 MHz below it. A line there is an alias if one a rate away is
// strong enough, or if a slice that shows the place as well does not have it; it is
// somebody's if that slice has it too, and nothing is denied in the middle.
func TestAliasesOfLines(t *testing.T) {
	const power = 1e-6
	at := func(center float64, lines ...intrude.Line) func() (*look, []intrude.Line) {
		return func() (*look, []intrude.Line) { return evenLook(center, lines...) }
	}
	line := func(hz, dB float64) intrude.Line { return intrude.Line{Hz: hz, Power: power * linear(dB)} }
	for _, row := range []struct {
		name string
		x    intrude.Line // in the look at 500 MHz
		with []func() (*look, []intrude.Line)
		want bool
	}{
		{"a strong one a rate away", line(-1.0e6, 0), []func() (*look, []intrude.Line){at(502e6, line(-0.6e6, 25))}, true},
		{"one a rate away that is too weak", line(-1.0e6, 0), []func() (*look, []intrude.Line){at(502e6, line(-0.6e6, 10))}, false},
		{"a strong one elsewhere", line(-1.0e6, 0), []func() (*look, []intrude.Line){at(502e6, line(-0.5e6, 25))}, false},
		{"another slice has it not", line(-1.0e6, 0), []func() (*look, []intrude.Line){at(499.5e6)}, true},
		{"another slice has it", line(-1.0e6, 0), []func() (*look, []intrude.Line){at(499.5e6, line(-0.5e6, 0))}, false},
		{"near the middle", line(-0.3e6, 0), []func() (*look, []intrude.Line){at(499.5e6)}, false},
		{"too weak to be seen by the other", line(-1.0e6, -21), []func() (*look, []intrude.Line){at(499.5e6)}, false},
	} {
		e := examinationOf(append([]func() (*look, []intrude.Line){at(500e6, row.x)}, row.with...)...)
		l := e.looks[0]
		require.Equal(t, row.want, e.isFolded(l, e.found[l][0]), row.name)
	}
}

// Truth: the character's own points, and the default that holds without one.
func TestFoldingByCharacter(t *testing.T) {
	e := examinationOf()
	require.InDelta(t, poorFoldDB, decibel(e.foldsAtMost(vsb.FoldedShare*1.2e6, 2.4e6)), 1e-9)
	e.Radio = &character.Character{RateHz: 2.4e6, Response: []character.Point{{Share: -1.3, DB: -40}, {Share: -1, DB: -10}, {Share: 1, DB: -10}, {Share: 1.3, DB: -37}}}
	// What shows at −0.85 of half the rate comes from 1.15, half way down.
	require.InDelta(t, -23.5+knownFoldDB, decibel(e.foldsAtMost(-0.85*1.2e6, 2.4e6)), 1e-6)
	require.InDelta(t, poorFoldDB, decibel(e.foldsAtMost(vsb.FoldedShare*1e6, 2e6)), 1e-9, "of another rate it says nothing")
}

// Truth: arithmetic. Tones at one offset from the middle of several slices ride along;
// those of a row stand at as many offsets.
func TestRiders(t *testing.T) {
	var list []Suspect
	for i, offset := range []float64{317e3, 317.1e3, 316.9e3, -500e3, -480e3, 0} {
		list = append(list, Suspect{Kind: Tone, FrequencyHz: &measure.Estimate{Value: 500e6 + 1e6*float64(i)}, offsetHz: offset})
	}
	got := riders(list, func(float64) int { return 5 })
	require.Len(t, got, 3)
	for i := range 3 {
		require.Equal(t, rider{3, 316.9e3}, got[i])
	}
	require.Empty(t, riders(list, func(float64) int { return 20 }), "of so many slices more would show it")
}

// Truth: straight lines between what is known, and names where nothing is.
func TestRealGain(t *testing.T) {
	s := &scene{topDB: 40}
	require.InDelta(t, 17, s.realGain(17), 0)
	x := &stay{gainDB: 20, realDB: 20, knownGain: true}
	s.stays = []*stay{x}
	figure := func(v float64) *character.Figure { return &character.Figure{Value: v, Sigma: 0.1} }
	s.findGains(&character.Character{Gains: []character.Gain{{NameDB: 10, RealDB: figure(16)}, {NameDB: 20, RealDB: figure(24)}, {NameDB: 25}, {NameDB: 40, RealDB: figure(41)}}})
	for name, real := range map[float64]float64{40: 40, 20: 23, 30: 31.5, 10: 15, 5: 10} {
		require.InDelta(t, real, s.realGain(name), 1e-9, "%g", name)
	}
	require.InDelta(t, 23, x.realDB, 1e-9)
	require.InDelta(t, linear(-17), s.relative(20), 1e-9)
	require.InDelta(t, 0.1*math.Ln10/10, x.realSigma, 1e-9)
	off := false
	require.Nil(t, stepsOf(&character.Character{GainsWork: &off, Gains: []character.Gain{{RealDB: figure(1)}, {RealDB: figure(2)}, {RealDB: figure(3)}}}), "a gain control was left on")
}
