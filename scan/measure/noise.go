package measure

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// floor is a noise density in FS²/Hz with its relative standard uncertainty.
type floor struct {
	density  float64
	relative float64
	method   NoiseMethod
}

const (
	// plainSpreadDB is how uneven the pieces of a channel may be that passes for
	// noise: as a standard deviation, a few bad pieces apart.
	plainSpreadDB = 0.25

	// filledShare and filledRatio: a channel of which more than a quarter stands
	// 3 dB above the rest is not plain.
	filledShare, filledRatio = 0.75, 2

	// dipDB: noise has no dips, as there are where a signal ends, but a slice has
	// where the pass band falls: by up to 2.5 dB, at its ends.
	dipDB = 2

	// Over frequency the radio's gain, and with it the floor, wanders by a dB
	// or two. A channel that stands further above its neighbours than this is
	// not vacant, whatever else it looks like.
	vacantStepDB, vacantSlopeDBPerMHz = 0.7, 0.02
	// How well a vacant channel tells the floor of one that lies further off,
	// between two of them and beyond the last.
	floorSigmaDB                   = 0.05
	insideDBPerMHz, besideDBPerMHz = 0.012, 0.025
	floorSigmaMaxDB                = 3

	// agreeSigma is by how many of their standard uncertainties two floors may
	// differ that are taken for one.
	agreeSigma = 3
)

// vacantFloor is the floor read in one plain channel.
type vacantFloor struct {
	channel band.Channel
	hz      float64 // middle of what was seen of it
	db      float64 // density in dBFS/Hz
	sigmaDB float64
}

// plain returns the density in dBFS/Hz of a channel that has everything that
// thermal noise has and nothing else: it is even, its power varies as noise's
// does, it does not repeat, and neither training nor bootstrap nor a pilot whose
// data may stand beside it was found in it. Its level does not enter: that such a channel is
// the floor is for others to confirm or deny, see plainFloors.
func (v *view) plain(e *evidence, tone *viewTone) (db float64, ok bool) {
	if e.proven() || unlikeNoise(patternOf(v.slices, e.channel)) {
		return 0, false
	}
	if tone != nil && tone.inPlace && tone.dataShare() > quietShare && !v.shapeOf(e.channel).lacks(tone.dataOf()) {
		return 0, false
	}
	p := v.parts(e.channel)
	if len(p) == 0 || v.mostlyFolded(e.channel) {
		return 0, false
	}
	level := make([]float64, len(p))
	for k := range p {
		level[k] = decibel.Of(p[k].density)
	}
	middle := robust.Median(level)
	sorted := slices.Clone(level)
	slices.Sort(sorted)
	high := sorted[int(filledShare*float64(len(sorted)))]
	if robust.Spread(level) > v.plainSpread() || high-middle > decibel.Of(filledRatio) || middle-sorted[0] > dipDB+2*v.passbandSigma() {
		return 0, false
	}
	return middle, true
}

// plainSpread is how uneven a plain channel may be, in dB: also by what is not
// known of the pass band.
func (v *view) plainSpread() float64 { return math.Hypot(plainSpreadDB, 1.5*v.passbandSigma()) }

// quietShare is the data's share of the density around a line, if that were a
// pilot, up to which the line leaves a channel plain: −15 dB.
const quietShare = 0.03

// plainFloors returns the floors of the plain channels. Of channels that are
// plain alike, those that stand above others at the same gain are not vacant:
// something there fills them that looks like noise. One that none contradicts
// counts, also when it is the only one.
//
// A sliver of a channel at the end of a slice, where the pass band falls, says
// nothing beside wider views.
func (v *view) plainFloors(all []evidence, tones []*viewTone) []vacantFloor {
	const sliverHz = 500e3
	var wide, slivers []vacantFloor
	for i := range all {
		db, ok := v.plain(&all[i], tones[i])
		if !ok {
			continue
		}
		var seenHz float64
		seen := v.seen(all[i].channel)
		for _, s := range seen {
			seenHz += s.WidthHz()
		}
		f := vacantFloor{all[i].channel, (seen[0].LowHz + seen[len(seen)-1].HighHz) / 2, db, floorSigmaDB}
		folded := decibel.PerNeper * foldingSigma * v.foldedPower(seen) / seenHz / decibel.Power(db)
		if v.passbandSigma() >= unknownPassbandDB {
			f.sigmaDB = math.Hypot(floorSigmaDB, v.droopSigma(f.hz))
		}
		if seenHz < sliverHz {
			f.sigmaDB = math.Hypot(math.Hypot(floorSigmaDB, droopDB), folded)
			slivers = append(slivers, f)
		} else {
			f.sigmaDB = math.Hypot(f.sigmaDB, folded)
			wide = append(wide, f)
		}
	}
	if len(wide) == 0 {
		wide = slivers
	}
	return v.undenied(lowest(wide, vacantStepDB+v.passbandSigma()), all)
}

// undenied drops the floors above which the quietest third of some other channel
// does not reach: nothing is quieter than the floor. Two pass bands may differ
// by that much at their ends.
func (v *view) undenied(floors []vacantFloor, all []evidence) []vacantFloor {
	const clearlyDB = 3
	quietest := math.Inf(1)
	for i := range all {
		p := v.parts(all[i].channel)
		if len(p) < channelParts/4 {
			continue
		}
		level := make([]float64, len(p))
		for k := range p {
			level[k] = decibel.Of(p[k].density)
		}
		slices.Sort(level)
		quietest = math.Min(quietest, level[len(level)/3])
	}
	return slices.DeleteFunc(floors, func(f vacantFloor) bool { return f.db > quietest+clearlyDB })
}

// lowest drops the floors that stand above their neighbours.
func lowest(in []vacantFloor, stepDB float64) []vacantFloor {
	var out []vacantFloor
	for _, a := range in {
		keep := true
		for _, b := range in {
			if a.db > b.db+stepDB+vacantSlopeDBPerMHz*math.Abs(a.hz-b.hz)/1e6 {
				keep = false
				break
			}
		}
		if keep {
			out = append(out, a)
		}
	}
	return out
}

// interpolate returns the floor at a frequency from vacant channels, or nil
// when there is none.
func interpolate(floors []vacantFloor, hz float64) *floor {
	if len(floors) == 0 {
		return nil
	}
	after := 0
	for after < len(floors) && floors[after].hz < hz {
		after++
	}
	var db, sigma float64
	switch {
	case after < len(floors) && floors[after].hz == hz:
		db, sigma = floors[after].db, floors[after].sigmaDB
	case after == 0 || after == len(floors):
		nearest := floors[min(after, len(floors)-1)]
		db = nearest.db
		sigma = math.Hypot(nearest.sigmaDB, besideDBPerMHz*math.Abs(nearest.hz-hz)/1e6)
	default:
		a, b := floors[after-1], floors[after]
		t := (hz - a.hz) / (b.hz - a.hz)
		db = a.db + t*(b.db-a.db)
		sigma = math.Hypot(math.Max(a.sigmaDB, b.sigmaDB), insideDBPerMHz*math.Min(hz-a.hz, b.hz-hz)/1e6)
	}
	return &floor{decibel.Power(db), math.Min(sigma, floorSigmaMaxDB) * math.Ln10 / 10, NoiseVacant}
}

const (
	edgeReachHz = 100e3 // how far from an edge the dip is fitted
	// edgeSkirtHz is the width of the root-raised-cosine skirt, A/53 Part 2:
	// 6 MHz less twice the distance from edge to flat top.
	edgeSkirtHz = 2 * band.PilotOffsetHz
	// edgeLeast is the part of the dip that must have been measured.
	edgeLeast = 0.5
	// resolutionSteps is the root mean square width of what a line becomes in
	// the stitched spectrum: a Hann window's main lobe, interpolated.
	resolutionSteps = 0.7
	// edgeSigmaDB is how far the noise at an edge may be from the noise inside.
	// When only one side of the dip was measured whole it is farther.
	edgeSigmaDB, oneSidedSigmaDB = 0.1, 0.3
)

// edgeFloor reads the floor in the dip at a channel's edge. Both neighbours'
// power density rises from zero there as sin²(π·distance/2·skirt), so noise and
// both slopes follow from a weighted least-squares fit; what the fit leaves
// beyond its statistics widens the uncertainty. The spectrum's own resolution
// fills the dip a little, which the slopes' columns allow for.
func (v *view) edgeFloor(edgeHz float64) *floor {
	s := &v.spectrum
	first := max(0, int(math.Ceil((edgeHz-edgeReachHz-s.StartHz)/s.StepHz)))
	last := min(len(s.Density)-1, int(math.Floor((edgeHz+edgeReachHz-s.StartHz)/s.StepHz)))
	var x, y []float64
	for i := first; i <= last; i++ {
		if d := s.Density[i]; !math.IsNaN(d) && d > 0 {
			x, y = append(x, s.At(i)-edgeHz), append(y, d)
		}
	}
	if float64(len(x)) < edgeLeast*2*edgeReachHz/s.StepHz {
		return nil
	}
	const slope = math.Pi / (2 * edgeSkirtHz)
	smear := slope * resolutionSteps * s.StepHz
	a := mat.NewDense(len(x), 3, nil)
	for i, f := range x {
		rise := math.Sin(slope * math.Min(math.Abs(f), edgeSkirtHz))
		column := 1
		if f < 0 {
			column = 2
		}
		a.Set(i, 0, 1)
		a.Set(i, column, rise*rise+smear*smear)
	}
	model := append([]float64(nil), y...)
	lowest := robust.Median(y)
	for _, d := range y {
		lowest = math.Min(lowest, d)
	}
	smooth(model)
	var c mat.VecDense
	var covariance mat.Dense
	for range 4 {
		w := mat.NewDense(len(x), 3, nil)
		b := mat.NewVecDense(len(x), nil)
		for i := range x {
			weight := 1 / math.Max(model[i], lowest)
			for k := range 3 {
				w.Set(i, k, a.At(i, k)*weight)
			}
			b.SetVec(i, y[i]*weight)
		}
		if err := c.SolveVec(w, b); err != nil {
			return nil
		}
		var normal mat.Dense
		normal.Mul(w.T(), w)
		if err := covariance.Inverse(&normal); err != nil {
			return nil
		}
		for i := range x {
			model[i] = mat.Dot(a.RowView(i), &c)
		}
	}
	var chi float64
	for i := range x {
		r := (y[i] - model[i]) / math.Max(model[i], lowest)
		chi += r * r
	}
	chi /= float64(len(x) - 3)
	n := c.AtVec(0)
	if n <= 0 {
		return nil
	}
	// Neighbouring bins of a Hann window overlap by about 1.5.
	variance := covariance.At(0, 0) * math.Max(chi, 1/s.Averages) * 1.5
	sigma := math.Hypot(edgeSigmaDB, v.droopSigma(edgeHz))
	if x[0] > -edgeReachHz*0.9 || x[len(x)-1] < edgeReachHz*0.9 {
		sigma = math.Hypot(sigma, oneSidedSigmaDB)
	}
	sigma = math.Hypot(sigma, decibel.PerNeper*v.foldedDoubt(edgeHz)/n)
	return &floor{n, math.Hypot(math.Sqrt(variance)/n, sigma*math.Ln10/10), NoiseEdge}
}

// droopSigma is what is not known of the radio's pass band at a frequency, in dB.
// Where the pass band could not be found, the ends of a slice lie up to 2.5 dB
// below its middle: measured on several dongles, osmocom-sdr list, July 2012.
func (v *view) droopSigma(hz float64) float64 {
	const inside = 0.35 // parts of the rate from the middle
	sigma := v.passbandSigma()
	if sigma < unknownPassbandDB {
		return sigma
	}
	nearest := 0.5
	for _, s := range v.slices {
		nearest = math.Min(nearest, math.Abs(hz-s.CenterHz*v.clock)/s.RateHz)
	}
	if nearest < inside {
		return sigma
	}
	return droopDB
}

// droopDB is how far the ends of a slice may lie below its middle.
const droopDB = 1.5

// smooth averages each value with its neighbours, for weights that do not
// follow every fluctuation.
func smooth(x []float64) {
	const reach = 4
	in := append([]float64(nil), x...)
	for i := range x {
		x[i] = robust.Mean(in[max(0, i-reach):min(len(in), i+reach+1)])
	}
}

// floorOf weighs what is known of the noise under a channel: plain channels at
// the same gain, the dips at the channel's own edges where a station's skirts
// end, and what the training leaves of a station, or where the channel is filled
// by something unknown the gaps at its edges. Anything else that stands where a
// floor is read can only add to it. So the lowest counts, together with all that
// agree with it, by their variances; the name is that of the weightiest. It is
// nil when nothing says anything.
func (v *view) floorOf(e *evidence, tone *viewTone, floors []vacantFloor) *floor {
	c := e.channel
	var all []*floor
	if f := interpolate(floors, c.CenterHz()); f != nil {
		all = append(all, f)
	}
	switch {
	case len(e.trained) > 0:
		all = append(all, v.edges(c))
		all = append(all, v.residuals(e)...)
	case e.bootstrap == nil && v.isPlain(c, floors):
		all = append(all, v.edges(c))
	case e.bootstrap == nil && tone != nil:
		all = append(all, v.shapeOf(c).floor())
	default:
		all = append(all, v.gaps(c))
	}
	return agreeing(all)
}

// isPlain reports whether a channel is among those that a floor was read in.
func (v *view) isPlain(c band.Channel, floors []vacantFloor) bool {
	return slices.ContainsFunc(floors, func(f vacantFloor) bool { return f.channel == c })
}

// agreeing returns the weighted mean of the lowest floor and all that agree
// with it; nil entries are passed over.
func agreeing(all []*floor) *floor {
	all = slices.DeleteFunc(all, func(f *floor) bool { return f == nil || !(f.density > 0) })
	if len(all) == 0 {
		return nil
	}
	// The lowest by what it may be at the least, so that a vague one does not
	// win by its vagueness.
	low := slices.MinFunc(all, func(a, b *floor) int {
		return cmp.Compare(math.Log(a.density)+a.relative, math.Log(b.density)+b.relative)
	})
	var sum, weight, most float64
	out := &floor{}
	for _, f := range all {
		if away := math.Log(f.density / low.density); away > agreeSigma*math.Hypot(f.relative, low.relative) {
			continue
		}
		w := 1 / (f.relative * f.relative)
		sum += w * math.Log(f.density)
		weight += w
		if w > most {
			most, out.method = w, f.method
		}
	}
	out.density, out.relative = math.Exp(sum/weight), 1/math.Sqrt(weight)
	return out
}

// edges is the floor in the dips at a channel's edges, where both a station's
// skirts and its neighbours' end; nil when neither was seen.
func (v *view) edges(c band.Channel) *floor {
	low, high := v.edgeFloor(c.LowerHz), v.edgeFloor(c.UpperHz())
	v.inside(low, c.LowerHz, c)
	v.inside(high, c.UpperHz(), c)
	return joinEdges(low, high)
}

// residuals is what the training leaves in each slice. The slices' pass bands
// and what a fit overlooks make each of them a little uncertain.
func (v *view) residuals(e *evidence) []*floor {
	var out []*floor
	for _, t := range listen.TrainedOf(v.slices, e.channel) {
		if density, relative, ok := v.errorOf(e.channel, t); ok && !t.Moving {
			out = append(out, &floor{density, math.Hypot(relative, residualSigmaDB/decibel.PerNeper), NoiseTraining})
		}
	}
	return out
}

// residualSigmaDB is how far what the training leaves may be from the noise
// besides its statistics: what a fit overlooks of the droop of a pass band is
// some 0.1 dB, and the same in all of a channel's slices.
const residualSigmaDB = 0.18

// gapHz is how much beside each edge a channel of whatever standard leaves
// empty: ATSC 3.0 and 6 MHz DVB-T 84 kHz, others more.
const gapHz = 60e3

// gaps bounds the floor under a channel that something unknown fills by the
// emptiest place near its edges; nil when neither was seen.
func (v *view) gaps(c band.Channel) *floor {
	var lowest, doubt float64
	for _, edge := range []float64{c.LowerHz, c.UpperHz()} {
		const width = 15e3
		for at := edge - gapHz; at+width <= edge+gapHz+1; at += width {
			d := seenOnly(v.densities(at, at+width))
			if len(d) < 4 {
				continue
			}
			if m := robust.Median(d) / robust.MedianOfGamma(v.spectrum.Averages); lowest == 0 || m < lowest {
				lowest, doubt = m, foldingSigma*v.meanFolded(at, at+width)
			}
		}
	}
	if lowest == 0 {
		return nil
	}
	return &floor{lowest, math.Min(math.Hypot(gapSigmaDB/decibel.PerNeper, doubt/lowest), floorSigmaMaxDB/decibel.PerNeper), NoiseEdge}
}

// gapSigmaDB is how far the emptiest place beside an unknown signal may be from
// the noise: a neighbour's foot, and the lowest of several places.
const gapSigmaDB = 1

// inside turns a floor read at an edge to the mean over the channel. Thermal
// noise passes the radio's filters and is flat once they are divided out, but
// the converter rounds after them: where the pass band falls, as it does at the
// ends of a slice, its share is lifted.
func (v *view) inside(f *floor, edgeHz float64, c band.Channel) {
	if f == nil || v.rounding == 0 {
		return
	}
	atEdge := v.meanLift(edgeHz-edgeReachHz/2, edgeHz+edgeReachHz/2)
	within := v.meanLift(c.LowerHz, c.UpperHz())
	corrected := f.density - v.rounding*(atEdge-within)
	// Never more than half: rounding is no more even than the input is busy.
	f.density = math.Max(corrected, f.density/2)
}

func (v *view) meanLift(lowHz, highHz float64) float64 {
	s := &v.spectrum
	var sum, n float64
	for i := max(0, int((lowHz-s.StartHz)/s.StepHz)); i < min(len(v.lift), int((highHz-s.StartHz)/s.StepHz)); i++ {
		if v.lift[i] > 0 {
			sum += float64(v.lift[i])
			n++
		}
	}
	if n == 0 {
		return 1
	}
	return sum / n
}

// joinEdges averages the floors read at a channel's two edges. Where they
// disagree something else stands in one of them, which can only add: the lower
// one counts, with the difference in its uncertainty.
func joinEdges(a, b *floor) *floor {
	if a == nil || b == nil {
		if a == nil {
			a = b
		}
		if a == nil {
			return nil
		}
		return &floor{a.density, math.Hypot(a.relative, 0.15*math.Ln10/10), NoiseEdge}
	}
	if a.density > b.density {
		a, b = b, a
	}
	gap := math.Log(b.density / a.density)
	together := math.Hypot(a.relative, b.relative)
	if gap > 3*together {
		return &floor{a.density, math.Hypot(a.relative, gap/4), NoiseEdge}
	}
	wa, wb := 1/(a.relative*a.relative), 1/(b.relative*b.relative)
	return &floor{
		(wa*a.density + wb*b.density) / (wa + wb),
		math.Hypot(1/math.Sqrt(wa+wb), gap/4), NoiseEdge,
	}
}
