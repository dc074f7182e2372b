package scan

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
)

// line is the power of a stay's line at an offset from its middle, over full
// scale.
func (h *heard) line(offsetHz float64) float64 {
	var sum complex128
	for i, v := range h.samples {
		sum += complex128(v) * cmplx.Rect(1, -2*math.Pi*math.Mod(offsetHz/h.RateHz*float64(i), 1))
	}
	n := float64(len(h.samples))
	return (real(sum)*real(sum) + imag(sum)*imag(sum)) / (n * n)
}

func (h *heard) power() float64 {
	var sum float64
	for _, v := range h.samples {
		sum += float64(real(v))*float64(real(v)) + float64(imag(v))*float64(imag(v))
	}
	return sum / float64(len(h.samples))
}

// Truth: Parseval, the sum of a geometric series, and the front end's table.
func TestWorldsSamples(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	ffts := transforms{}
	c, _ := band.Plans()[0].Channel(22)
	const rate = 2.4e6
	for k, front := range fronts {
		// White noise of density 1 has, of each hertz of the wide stay, what the
		// front end lets through.
		var through float64
		for i := range 1000 {
			a := front((float64(i)+0.5)/500 - 1)
			b := front((float64(i)+0.5)/500 - 1 + math.Copysign(2, 500-float64(i)-0.5))
			through += (a*a + b*b) / 1000
		}
		w := newWorld(uint64(k), front, ffts)
		w.level, w.dc = 1e-4, 0
		h := w.hear(t, c.CenterHz(), rate, 0.05)
		scale := w.level * w.level
		require.InDelta(t, 0, decibels(h.power()/(rate*scale*(through+w.rounding(rate)))), 0.06)

		// A tone beyond half the rate folds back by the front end's word.
		const offset = 1.1 * rate / 2
		w.ppm, w.level = 0, 1e-6
		w.lines = []lineAt{{c.CenterHz() + offset, 50}}
		h = w.hear(t, c.CenterHz(), rate, 0.05)
		want := power(50) * band.WidthHz * w.level * w.level * math.Pow(front(1.1), 2)
		require.InDelta(t, want, h.line(offset-rate), 0.02*want+1e-9)

		// A station has its C/N over the noise of the channel's middle, where
		// its density is its power over half the symbol rate, and its pilot
		// 11.6 dB below all of it.
		w.lines, w.level = nil, 0
		e := w.put(c, 25, eightVSBOf(1))
		e.errorHz = 0
		w.setLevel(rate)
		h = w.hear(t, c.CenterHz(), rate, 0.1)
		density := power(25)*band.WidthHz*dataShare/(symbolRateHz/2) + 1
		require.InDelta(t, 0, decibels(h.power()/(w.level*w.level*rate*density*through)), 0.15)
		h = w.hear(t, c.LowerHz+1e6, rate, 0.1)
		at := pilotHz - 1e6
		pilot := h.line(at) / (w.level * w.level * power(25) * band.WidthHz)
		require.InDelta(t, decibels(1-dataShare)+decibels(math.Pow(front(at/rate*2), 2)), decibels(pilot), 0.3)
	}
}
