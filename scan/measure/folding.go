package measure

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

const (
	// usualFoldingDB is what dongles were measured to let in of what lies beyond
	// half the rate, at vsb.FoldedShare of it, and foldingSpreadDB how far another
	// radio may be from that.
	usualFoldingDB, foldingSpreadDB = -22, 5

	// foldingSigma is the relative standard uncertainty of what is taken off for
	// folding: its shape is not quite the same in every radio.
	foldingSigma = 0.3

	// foldedBesideHz is how much around a frequency tells the level of what folds
	// in from there.
	foldedBesideHz = 30e3

	// Of a density is left, after what folds in was taken off, this share of it and
	// of the lowest noise that a fit found: what is taken off is no better known
	// than that.
	leastLeft, leastNoiseLeft = 0.03, 0.95
)

// folding is what a view's radio lets in from beyond half the rate of its
// slices: a share of the density there, at vsb.FoldedShare.
type folding struct {
	share float64
	slope float64 // as vsb.FoldingShape has it
	known bool    // from this view's own slices, or by what is known of the radio
	ends  int     // of slices, that told of it
}

// findFolding finds, from the fits of the view's slices of one rate, what share
// of what lies beyond half the rate comes back.
func (v *view) findFolding(rateHz float64) folding {
	var shares, slopes []float64
	for _, s := range v.slices {
		if s.RateHz != rateHz {
			continue
		}
		for _, t := range s.Trained {
			for _, e := range foldedEnds(t.Folded) {
				// What is usual counts as well: of those alone that stand out the
				// middle would be too high. Weak against the noise nothing is told.
				from := v.beyond(s, e.side*vsb.FoldedShare*s.RateHz/2)
				if !e.found && e.density == 0 || from*decibel.Power(usualFoldingDB) < t.ErrorDensity {
					continue
				}
				shares = append(shares, math.Max(e.density, 1e-6*from)/from)
				slopes = append(slopes, e.slope)
			}
		}
	}
	const enough = 2
	if len(shares) < enough {
		return folding{}
	}
	return folding{robust.Median(shares), robust.Median(slopes), true, len(shares)}
}

// foldedEnd is one end of a slice.
type foldedEnd struct {
	side    float64
	found   bool
	density float64
	slope   float64
}

func foldedEnds(f vsb.Folded) [2]foldedEnd {
	return [2]foldedEnd{{-1, f.LowFound, f.Low, f.LowSlope}, {1, f.HighFound, f.High, f.HighSlope}}
}

// beyond is the density of what folds to an offset from a slice's middle; 0
// where that was not seen.
func (v *view) beyond(s *listen.Slice, offsetHz float64) float64 {
	from := (s.CenterHz + offsetHz - math.Copysign(s.RateHz, offsetHz)) * v.clock
	d := seenOnly(v.densities(from-foldedBesideHz, from+foldedBesideHz))
	if len(d) < leastBins {
		return 0
	}
	return robust.Median(d) / robust.MedianOfGamma(v.spectrum.Averages)
}

// unfold takes what folds in off the stitched spectrum, where it is known: from
// what the radio was found to let in and what other slices show beyond, and
// without either from what a station's training left at the slice's own ends. What was taken off is kept, for what it leaves uncertain.
func (v *view) unfold() {
	v.folded = make([]float32, len(v.spectrum.Density))
	found := map[float64]folding{}
	for _, s := range v.slices {
		if _, done := found[s.RateHz]; !done {
			found[s.RateHz] = v.radio.settle(v.findFolding(s.RateHz), s.RateHz)
		}
	}
	const pieceHz = 20e3
	noise := v.leastNoise()
	humps := map[float64]hump{}
	for rate := range found {
		humps[rate] = v.findHump(rate)
	}
	piece := max(1, int(pieceHz/v.spectrum.StepHz))
	var density float64
	var around hump
	for i, d := range v.spectrum.Density {
		if v.from[i] < 0 || math.IsNaN(d) {
			continue
		}
		if i%piece == 0 || v.from[i] != v.from[i-1] {
			s := v.slices[v.from[i]]
			density = v.foldedIn(s, v.spectrum.At(i)/v.clock-s.CenterHz, found[s.RateHz], noise)
			around = humps[s.RateHz]
		}
		density := density
		if around.level > 0 {
			s := v.slices[v.from[i]]
			density += around.level * vsb.HumpShape(math.Max(s.DCGapHz(), math.Abs(v.spectrum.At(i)/v.clock-s.CenterHz)), around.power)
		}
		most := d - math.Max(leastLeft*d, leastNoiseLeft*noise*float64(v.lift[i]))
		v.folded[i] = float32(math.Max(0, math.Min(density*float64(v.lift[i]), most)))
		v.spectrum.Density[i] = d - float64(v.folded[i])
	}
}

// hump is the noise that a radio has of its own around the middle of its slices, as
// vsb.Folded has it.
type hump struct{ level, power float64 }

// findHump finds it from the fits of the view's slices of one rate. It is the radio's,
// so most of them must have it.
func (v *view) findHump(rateHz float64) hump {
	const share, enough = 0.5, 2
	var levels, powers []float64
	fits := 0
	for _, s := range v.slices {
		for _, t := range s.Trained {
			if s.RateHz != rateHz {
				continue
			}
			fits++
			if t.Folded.Hump > 0 {
				levels, powers = append(levels, t.Folded.Hump), append(powers, t.Folded.HumpPower)
			}
		}
	}
	if len(levels) < enough || float64(len(levels)) < share*float64(fits) {
		return hump{}
	}
	return hump{robust.Median(levels), robust.Median(powers)}
}

// leastNoise is the lowest noise that a fit found; 0 where there is none.
func (v *view) leastNoise() float64 {
	var least float64
	for _, s := range v.slices {
		for _, t := range s.Trained {
			if least == 0 || t.ErrorDensity < least {
				least = t.ErrorDensity
			}
		}
	}
	return least
}

// foldedIn is the density that folds into a slice at an offset from its middle,
// besides noise. least is the lowest noise that a fit found.
func (v *view) foldedIn(s *listen.Slice, offsetHz float64, radio folding, least float64) float64 {
	const nothing = 1e-5 // of what lies beyond: less than a radio's noise has anywhere
	share := 2 * offsetHz / s.RateHz
	from := v.beyond(s, offsetHz)
	if shape := vsb.FoldingShape(share, radio.slope); radio.known && from > 0 {
		if shape < nothing {
			return 0
		}
		return radio.share * shape * math.Max(0, from-least)
	}
	most := math.Inf(1)
	if from > 0 {
		most = from * decibel.Power(usualFoldingDB+3*foldingSpreadDB)
	}
	for _, t := range s.Trained {
		for _, e := range foldedEnds(t.Folded) {
			if e.found && e.side*share > 0 {
				return math.Min(e.density, most) * vsb.FoldingShape(share, e.slope)
			}
		}
	}
	return 0
}

// nearest is the slice that a frequency of the stitched spectrum is from.
func (v *view) nearest(hz float64) *listen.Slice {
	var out *listen.Slice
	least := listen.UsableShare
	for _, s := range v.slices {
		if away := math.Abs(hz/v.clock-s.CenterHz) / s.RateHz; away < least {
			out, least = s, away
		}
	}
	return out
}

// foldedDoubt is the standard uncertainty of the density at a frequency of the
// stitched spectrum by what folds in: of what was taken off, or of what may be
// there where nothing is known of the radio.
func (v *view) foldedDoubt(hz float64) float64 {
	const aroundHz = 50e3
	if known := v.meanFolded(hz-aroundHz, hz+aroundHz); known > 0 {
		return foldingSigma * known
	}
	s := v.nearest(hz)
	if s == nil {
		return 0
	}
	offset := hz/v.clock - s.CenterHz
	from := v.beyond(s, offset)
	if from == 0 {
		from = robust.Median(s.Density) // perhaps as strong as what was seen
	}
	return from * decibel.Power(usualFoldingDB) * vsb.FoldingShape(2*offset/s.RateHz, 0)
}

// mostlyFolded reports whether half of what was seen of a channel had to be
// taken off for folding: what is left tells nothing of its own.
func (v *view) mostlyFolded(c band.Channel) bool {
	seen := v.seen(c)
	var all float64
	for _, s := range seen {
		all += v.integral(s.LowHz, s.HighHz)
	}
	return v.foldedPower(seen) > all
}

// mostlyFolding is the share of folding in a density from which the rest is not
// known well enough.
const mostlyFolding = 0.1

// mend puts in place of a station's data, where much of what was there was
// folding, what its spectrum promises from the nearest place where it was not.
// total is what was left with the noise, folded what was taken off; the first
// value lies startHz above the channel's lower edge.
func mend(signal, total []float64, folded []float32, startHz, stepHz float64) {
	const besideHz, leastShare = 60e3, 0.25
	lost := func(i int) bool { return float64(folded[i]) > mostlyFolding*(total[i]+float64(folded[i])) }
	beside := max(1, int(besideHz/stepHz))
	// level is the data relative to its spectrum in the values from i on one way.
	level := func(i, way int) (float64, bool) {
		var got, sent float64
		for n := 0; n < beside && i >= 0 && i < len(signal); n, i = n+1, i+way {
			if lost(i) {
				return 0, false
			}
			got, sent = got+signal[i], sent+vsb.Density(startHz+float64(i)*stepHz)
		}
		// Far down a skirt a station says nothing of its level.
		return got / sent, sent > leastShare*float64(beside)*vsb.Density(band.WidthHz/2)
	}
	for first := 0; first < len(signal); first++ {
		if !lost(first) {
			continue
		}
		last := first
		for last+1 < len(signal) && lost(last+1) {
			last++
		}
		below, belowKnown := level(first-1, -1)
		above, aboveKnown := level(last+1, 1)
		for i := first; i <= last && (belowKnown || aboveKnown); i++ {
			x := (float64(i-first) + 0.5) / float64(last-first+1)
			if !belowKnown {
				x = 1
			} else if !aboveKnown {
				x = 0
			}
			signal[i] = (below + x*(above-below)) * vsb.Density(startHz+float64(i)*stepHz)
		}
		first = last
	}
}

// mended is the mean density of a station and its noise between two frequencies,
// mended where folding hid it.
func (v *view) mended(c band.Channel, seen band.Span, noise float64) float64 {
	s := &v.spectrum
	first, last := max(0, int(math.Ceil((seen.LowHz-s.StartHz)/s.StepHz))), min(len(s.Density), int(math.Ceil((seen.HighHz-s.StartHz)/s.StepHz)))
	if first >= last {
		return 0
	}
	signal := make([]float64, last-first)
	for i := range signal {
		signal[i] = s.Density[first+i] - noise
	}
	mend(signal, s.Density[first:last], v.folded[first:last], s.At(first)-c.LowerHz, s.StepHz)
	return robust.Mean(seenOnly(signal)) + noise
}

// foldedSigma is the standard uncertainty, of the mean density between two
// frequencies, of what was taken off; where that was mended, of the mending.
func (v *view) foldedSigma(lowHz, highHz float64) float64 {
	const mendingSigma = 0.3
	s := &v.spectrum
	first, last := max(0, int((lowHz-s.StartHz)/s.StepHz)), min(len(v.folded), int((highHz-s.StartHz)/s.StepHz))
	level := robust.Median(seenOnly(v.densities(lowHz, highHz)))
	var sum, n float64
	for i := first; i < last; i++ {
		f, d := float64(v.folded[i]), s.Density[i]
		switch {
		case math.IsNaN(d):
			continue
		case f > mostlyFolding*(d+f):
			sum += mendingSigma * math.Min(level, f)
		default:
			sum += foldingSigma * f
		}
		n++
	}
	return sum / math.Max(1, n)
}

// foldedPower is what was taken off in all.
func (v *view) foldedPower(seen []band.Span) (sum float64) {
	for _, s := range seen {
		sum += v.meanFolded(s.LowHz, s.HighHz) * s.WidthHz()
	}
	return sum
}

// meanFolded is the mean of what was taken off between two frequencies.
func (v *view) meanFolded(lowHz, highHz float64) float64 {
	s := &v.spectrum
	first, last := max(0, int((lowHz-s.StartHz)/s.StepHz)), min(len(v.folded), int((highHz-s.StartHz)/s.StepHz))
	var sum, n float64
	for i := first; i < last; i++ {
		if f := float64(v.folded[i]); !math.IsNaN(f) {
			sum += f
			n++
		}
	}
	return sum / math.Max(1, n)
}
