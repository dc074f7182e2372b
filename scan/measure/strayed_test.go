package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// Truth: how each list was made. Slices of 2.4 MHz each 2 MHz hold a flat density; one
// holds what is told of it.
func TestStrayedSlices(t *testing.T) {
	channel := band.Plans()[0].Channels[20]
	hops := []float64{-1e6, 1e6, 3e6, 5e6, 7e6}
	const steps, rate = 240, 2.4e6
	make := func(density func(slice, bin int) float64) []*listen.Slice {
		var list []*listen.Slice
		for k, hz := range hops {
			s := &listen.Slice{CenterHz: channel.LowerHz + hz, RateHz: rate, GainDB: math.NaN(), StepHz: rate / steps}
			for i := range steps {
				s.Density = append(s.Density, density(k, i))
			}
			list = append(list, s)
		}
		return list
	}
	flat := func(int, int) float64 { return 1 }
	station := func(k, _ int) float64 {
		if k == 0 || k == 4 {
			return 1
		}
		return 30
	}
	trained := func(list []*listen.Slice, found ...int) []*listen.Slice {
		for _, s := range list[1:4] {
			s.Searched = []listen.Searched{{Channel: channel, CertainSNR: 0.5}}
		}
		for _, k := range found {
			list[k].Searched[0].Found = true
			list[k].Trained = []listen.Trained{{Channel: channel, Training: &vsb.Training{MERdB: 15}}}
		}
		return list
	}
	with := func(base func(k, i int) float64, slice int, f func(i int) float64) func(k, i int) float64 {
		return func(k, i int) float64 {
			if k == slice {
				return f(i)
			}
			return base(k, i)
		}
	}
	for name, test := range map[string]struct {
		list    []*listen.Slice
		strayed []float64
	}{
		"all in place":         {make(flat), nil},
		"a station in place":   {trained(make(station), 1, 2, 3), nil},
		"on a station's place": {make(with(flat, 2, func(int) float64 { return 30 })), []float64{channel.LowerHz + 3e6}},
		"a service within a slice": {make(with(flat, 2, func(i int) float64 {
			if i > 40 && i < 200 {
				return 30
			}
			return 1
		})), nil},
		"folding at both ends": {make(with(flat, 2, func(i int) float64 {
			if i < 40 || i > 200 {
				return 30
			}
			return 1
		})), nil},
		"on a vacant place":          {trained(make(with(station, 2, func(int) float64 { return 1 })), 1, 3), []float64{channel.LowerHz + 3e6}},
		"a training hidden by more":  {trained(make(with(station, 2, func(int) float64 { return 50 })), 1, 3), nil},
		"on another station's place": {trained(make(with(station, 1, func(int) float64 { return 28 })), 2, 3), []float64{channel.LowerHz + 1e6}},
	} {
		kept, strayed := withoutStrayed(test.list, []band.Channel{channel})
		require.Equal(t, test.strayed, strayed, name)
		require.Len(t, kept, len(test.list)-len(strayed), name)
	}

	// A station so weak that a slice may miss its training.
	weak := trained(make(with(flat, 2, func(int) float64 { return 0.9 })), 1, 3)
	for _, k := range []int{1, 3} {
		weak[k].Trained[0].MERdB = -3
	}
	_, strayed := withoutStrayed(weak, []band.Channel{channel})
	require.Empty(t, strayed)

	// What was heard at another gain says nothing.
	list := make(with(flat, 2, func(int) float64 { return 30 }))
	list[2].GainDB = 20
	_, strayed = withoutStrayed(list, []band.Channel{channel})
	require.Empty(t, strayed)
}
