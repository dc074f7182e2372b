package meter

import (
	"math"
	"slices"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

// This file knows of channels of which only a part can be heard: which tunings of
// a recording to follow, and what the part says of the whole.
//
// On a flat channel it says all there is, so a part's own C/N and its own
// equalised margin are the whole channel's, within what echoes make of the rest.
// With up to three echoes of 1.5 to 18 dB below the strongest path, up to 15 µs
// late, the margin of a stretch of the channel is without bias that of the whole,
// and off by some 1.2 dB for each factor e that it is narrower (unseenDB):
// TestAPartTellsOfTheWhole.

// leastSeenHz is the least of a channel that is followed: the pilot and enough
// beside it to know the noise and the data by.
const leastSeenHz = 200e3

// unseenDB is the standard uncertainty that a margin has from the part of the
// channel that was not heard, of which share was.
func unseenDB(share float64) float64 {
	const perFold = 1.2
	if !(share < 1) {
		return 0
	}
	return perFold * -math.Log(share)
}

// lay chooses the tunings of one rate that show the most of a channel, and of
// those that show as much the fewest. It is not ok when they show next to nothing.
func lay(c band.Channel, seen map[tuner.Tuning]bool, gainDB, clock float64) (best layout, ok bool) {
	byRate := map[float64][]float64{}
	for t := range seen {
		if sameGain(t.GainDB, gainDB) && !slices.Contains(byRate[t.RateHz], t.CenterHz) {
			byRate[t.RateHz] = append(byRate[t.RateHz], t.CenterHz)
		}
	}
	var most float64
	for rate, centers := range byRate {
		slices.Sort(centers)
		chosen, shown := cover(c.LowerHz/clock, c.UpperHz()/clock, listen.UsableShare*rate, centers)
		if shown < leastSeenHz {
			continue
		}
		const alike = 20e3 // Hz that are not worth another tuning
		fewer := len(chosen) < len(best.centersHz) || len(chosen) == len(best.centersHz) && rate < best.rateHz
		if !ok || shown > most+alike || shown > most-alike && fewer {
			best, most, ok = layout{rate, chosen}, shown, true
		}
	}
	return best, ok
}

// cover chooses the fewest tunings, of which each shows half to either side, that
// show of low to high all that any does, and says how much that is.
func cover(low, high, half float64, centers []float64) (chosen []float64, shown float64) {
	for from := low; from < high; {
		// The one that reaches farthest of those that leave no gap, or else the
		// first beyond it.
		i := len(centers) - 1
		for i >= 0 && centers[i]-half > from {
			i--
		}
		if i < 0 || centers[i]+half <= from {
			if i++; i == len(centers) || centers[i]-half >= high {
				break
			}
			from = centers[i] - half
			continue
		}
		chosen = append(chosen, centers[i])
		to := math.Min(high, centers[i]+half)
		shown += to - from
		from = centers[i] + half
	}
	return chosen, shown
}

// held is what some tunings show, joined where they touch.
func held(seen map[tuner.Tuning]bool) []band.Span {
	var list []band.Span
	for t := range seen {
		half := listen.UsableShare * t.RateHz
		list = append(list, band.Span{LowHz: t.CenterHz - half, HighHz: t.CenterHz + half})
	}
	return band.Join(list, 0)
}

// hertz is the frequency of a bin above the channel's lower edge.
func (f *follower) hertz(bin int) float64 { return float64(bin) * f.stepHz }

// laySeen notes which part of the channel the slices show.
func (f *follower) laySeen() {
	var spans []band.Span
	for k := range f.hops {
		h := &f.hops[k]
		if h.first == h.last {
			continue
		}
		f.bins += h.last - h.first
		low, high := f.channel.LowerHz+f.hertz(h.first)-f.stepHz/2, f.channel.LowerHz+f.hertz(h.last-1)+f.stepHz/2
		spans = append(spans, band.Span{LowHz: math.Max(low, f.channel.LowerHz), HighHz: math.Min(high, f.channel.UpperHz())})
	}
	if f.pilotHop = f.hopOf(band.PilotOffsetHz); f.pilotHop >= 0 && !f.underSpike(band.PilotOffsetHz) {
		f.carries = vsb.PilotShare
	}
	if f.bins == len(f.density) {
		f.seenShare = 1
		f.carries += 1 - vsb.PilotShare
		return
	}
	f.seen = band.Join(spans, f.stepHz)
	for _, s := range f.seen {
		f.seenShare += s.WidthHz() / band.WidthHz
		f.carries += vsb.DataPower(s.LowHz-f.channel.LowerHz, s.HighHz-f.channel.LowerHz)
	}
	for i := range f.shape {
		f.shape[i], f.floor[i] = math.NaN(), math.NaN()
	}
}

// underSpike reports whether a place that the pilot's slice shows lies where the
// spike in the slice's middle is taken out.
func (f *follower) underSpike(offsetHz float64) bool {
	return math.Abs((f.channel.LowerHz+offsetHz)/f.clock-f.hops[f.pilotHop].centerHz) < dcGapHz
}

// hopOf is the slice that shows a place in the channel; −1 when none does.
func (f *follower) hopOf(offsetHz float64) int {
	bin := int(offsetHz / f.stepHz)
	for k := range f.hops {
		if h := &f.hops[k]; bin >= h.first && bin < h.last {
			return k
		}
	}
	return -1
}

// partSNR is vsb.EqualisedSNR of what was heard, however little that is: the
// exponential of the mean of ln(1+SNR) over those bins of f.shape and f.floor
// of which all that folds onto them was heard.
func (f *follower) partSNR() (snr float64, ok bool) {
	const (
		top       = band.WidthHz - band.PilotOffsetHz
		skirt     = 2 * band.PilotOffsetHz // to either side of an edge of the Nyquist band
		leastBins = 32
		leastFold = 0.1 // of 1 + SNR; less is scatter
	)
	var sum, n float64
	for i, s := range f.shape {
		hz := f.hertz(i)
		if hz < band.PilotOffsetHz || hz > top {
			continue
		}
		ratio := s / f.floor[i]
		if hz < skirt {
			ratio += f.ratioAt(2*band.PilotOffsetHz - hz)
		} else if hz > band.WidthHz-skirt {
			ratio += f.ratioAt(2*top - hz)
		}
		if !math.IsNaN(ratio) {
			sum += math.Log(math.Max(1+ratio, leastFold))
			n++
		}
	}
	if n < leastBins {
		return 0, false
	}
	return math.Expm1(sum / n), true
}

// ratioAt is signal over noise in the bin nearest to a place; NaN when it was not
// heard.
func (f *follower) ratioAt(offsetHz float64) float64 {
	i := int(math.Round(offsetHz / f.stepHz))
	if i < 0 || i >= len(f.shape) {
		return math.NaN()
	}
	return f.shape[i] / f.floor[i]
}
