package scan

import (
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// Hops returns the tunings that show a channel whole at a sample rate, evenly
// spread from its lower edge up.
func Hops(c band.Channel, rateHz float64) []float64 {
	n := int(math.Ceil(band.WidthHz / (2 * listen.UsableShare * rateHz)))
	hops := make([]float64, n)
	for i := range hops {
		hops[i] = c.LowerHz + (float64(i)+0.5)*band.WidthHz/float64(n)
	}
	return hops
}

// companyChannels is how many channels a visit takes in at least. A channel
// looked at alone has nothing to read the noise, the clock and the radio's own
// pass band from.
const companyChannels = 5

// Company returns the wanted channels and, where they are few, those of the
// plan that lie nearest to them: what a visit to the wanted ones takes in.
func Company(wanted, plan []band.Channel) []band.Channel {
	out := slices.Clone(wanted)
	for len(out) < companyChannels {
		nearest, best := -1, math.Inf(1)
		for i, c := range plan {
			if slices.Contains(out, c) {
				continue
			}
			for _, w := range wanted {
				if d := math.Abs(c.LowerHz - w.LowerHz); d < best {
					nearest, best = i, d
				}
			}
		}
		if nearest < 0 {
			break
		}
		out = append(out, plan[nearest])
	}
	slices.SortFunc(out, byFrequency)
	return out
}
