package scan

import (
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

const (
	defaultRateHz = 2.4e6

	// mostRateHz is the highest rate that a radio is asked for by itself: what a
	// USB 2 socket and a small computer carry. More can be asked for.
	mostRateHz = 10e6

	// wholeRateHz is the rate from which one tuning shows a whole channel.
	wholeRateHz = band.WidthHz / (2 * listen.UsableShare)
)

// Rate returns the sample rate at which a radio visits channels fastest: that of the
// common dongles, or where it says what it can do a rate that shows whole channels.
func Rate(t tuner.Tuner) float64 {
	r, ok := t.(tuner.Rated)
	if !ok || len(r.Rates()) == 0 {
		return defaultRateHz
	}
	rates := r.Rates()
	if hz, ok := rates.AtMost(mostRateHz); ok && hz >= wholeRateHz {
		return hz
	}
	// More than is wanted is taken where nothing between can be had. A narrow
	// radio's highest rate is seldom its best.
	if hz, ok := rates.AtLeast(wholeRateHz); ok {
		return hz
	}
	return NarrowRate(t)
}

// NarrowRate returns the rate of the common dongles, or what a radio has that is next
// to it.
func NarrowRate(t tuner.Tuner) float64 {
	r, ok := t.(tuner.Rated)
	if !ok || len(r.Rates()) == 0 {
		return defaultRateHz
	}
	if hz, ok := r.Rates().AtLeast(defaultRateHz); ok {
		return hz
	}
	hz, _ := r.Rates().AtMost(defaultRateHz)
	return hz
}

// FollowRate returns the rate at which a radio follows channels most often: one that
// shows a channel at once, and little more.
func FollowRate(t tuner.Tuner) float64 {
	const roomy = 8e6 // a little of the neighbours, to read the floor from
	r, ok := t.(tuner.Rated)
	if !ok || len(r.Rates()) == 0 {
		return defaultRateHz
	}
	if hz, ok := r.Rates().AtLeast(roomy); ok && hz <= mostRateHz {
		return hz
	}
	return Rate(t)
}

// stop is a place of a visit: channels that are looked at together, and the tunings
// that show them.
type stop struct {
	channels  []band.Channel
	centersHz []float64
}

// stops returns where a visit to channels has to stop at a sample rate. Channels that
// lie so close to each other that one tuning shows all of them share a stop; else each
// has its own, of one tuning or several.
func stops(channels []band.Channel, rateHz float64) []stop {
	var out []stop
	width := 2 * listen.UsableShare * rateHz
	for _, c := range channels {
		if n := len(out) - 1; n >= 0 {
			first := out[n].channels[0]
			if c.UpperHz()-first.LowerHz <= width && c.LowerHz >= first.LowerHz {
				out[n].channels = append(out[n].channels, c)
				out[n].centersHz = []float64{(first.LowerHz + c.UpperHz()) / 2}
				continue
			}
		}
		out = append(out, stop{[]band.Channel{c}, Hops(c, rateHz)})
	}
	return out
}
