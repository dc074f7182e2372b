package scan

import (
	"math"
	"testing"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Truth: Gaussian noise, whatever its colour, and lines in it are no station;
// and every detector's false-alarm probability is its own, for one channel as
// for five.
func TestNoiseIsNoStation(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	const rate = 2.4e6
	kinds := []string{"noise", "tilted noise", "noise with lines", "tilted noise with lines"}
	wrong, unsure := tally{about: "vacant channels"}, make([]int, len(kinds))
	lonely, five := 0, 0
	for draw := range ensemble(12) {
		w := newWorld(uint64(draw+9001), fronts[draw/4%2], ffts)
		kind := draw % len(kinds)
		plan := band.Plans()[0]
		first := 14 + w.rng.IntN(19)
		number := 1
		if draw%6 == 5 {
			number = 5
		}
		var channels []band.Channel
		for k := range number {
			c, _ := plan.Channel(first + k)
			channels = append(channels, c)
		}
		if kind%2 == 1 {
			w.tiltDBPerMHz, w.pivotHz = w.rng.NormFloat64()/float64(number), channels[number/2].CenterHz()
		}
		if kind >= 2 {
			for range 1 + w.rng.IntN(3*number) {
				w.lines = append(w.lines, lineAt{channels[0].LowerHz + w.rng.Float64()*band.WidthHz*float64(number), 30*w.rng.Float64() - 25})
			}
		}
		hops := Hops(channels[0], rate)
		if number == 1 && w.rng.IntN(2) == 0 {
			hops = []float64{channels[0].LowerHz + w.anyCenter(rate, 1.2e6)}
		}
		w.level = math.Sqrt(power(-20) / rate)
		var stays []heard
		for _, c := range channels {
			for _, at := range hops {
				stays = append(stays, w.hear(t, at+c.LowerHz-channels[0].LowerHz, rate, 0.06))
			}
		}
		o := Options{Channels: channels, Plan: channels}
		if number == 1 && draw/2%2 == 0 {
			o.Plan = usChannels(t, "2-36")
		}
		for _, c := range survey(t, stays, o).Channels {
			if number == 1 {
				lonely++
			} else {
				five++
			}
			switch c.Presence {
			case measure.Present, "": // of every one something was heard
				wrong.fault("draw %d, channel %d of %d, %s: %q %v", draw, c.Channel.Number, number, kinds[kind], c.Presence, c.Suspicion)
			case measure.Unsure:
				unsure[kind]++
			}
		}
	}
	t.Logf("%d vacant channels alone, %d among five: not vacant nor unsure %d, unsure %v of %v", lonely, five, len(wrong.wrong), unsure, kinds)
	wrong.log(t)
	wrong.faultless(t)
}
