package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/scan/band"
)

// floor is a noise density in FS²/Hz with its relative standard uncertainty.
type floor struct {
	density  float64
	relative float64
	method   NoiseMethod
}

const (
	// vacantSpreadDB is how uneven a channel may be that is taken for vacant.
	vacantSpreadDB = 0.25
	// Over frequency the radio's gain, and with it the floor, wanders by a dB
	// or two. A channel that stands further above its neighbours than this is
	// not vacant, whatever else it looks like.
	vacantStepDB, vacantSlopeDBPerMHz = 0.7, 0.02
	// How well a vacant channel tells the floor of one that lies further off,
	// between two of them and beyond the last.
	floorSigmaDB                   = 0.05
	insideDBPerMHz, besideDBPerMHz = 0.012, 0.025
	floorSigmaMaxDB                = 3
)

// vacantFloor is the floor read in one vacant channel.
type vacantFloor struct {
	hz float64 // middle of the channel
	db float64 // density in dBFS/Hz
}

// vacantFloors reads the floor in every channel that shows no station: no
// pilot, an even spectrum, and a level that the channels around it share.
// quiet tells for each channel whether it shows no pilot.
func (v *view) vacantFloors(channels []band.Channel, quiet []bool) []vacantFloor {
	var out []vacantFloor
	for i, c := range channels {
		if !quiet[i] {
			continue
		}
		p := v.parts(c)
		if p == nil {
			continue
		}
		level := make([]float64, len(p))
		for k := range p {
			level[k] = decibel.Of(p[k].density)
		}
		middle := robust.Median(level)
		away := make([]float64, len(p))
		for k := range level {
			away[k] = math.Abs(level[k] - middle)
		}
		// 1.48 times the median of the deviations is a standard deviation.
		if 1.48*robust.Median(away) <= vacantSpreadDB {
			out = append(out, vacantFloor{c.CenterHz(), middle})
		}
	}
	return lowest(out)
}

// lowest drops the floors that stand above their neighbours.
func lowest(in []vacantFloor) []vacantFloor {
	var out []vacantFloor
	for _, a := range in {
		keep := true
		for _, b := range in {
			if a.db > b.db+vacantStepDB+vacantSlopeDBPerMHz*math.Abs(a.hz-b.hz)/1e6 {
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
		db, sigma = floors[after].db, floorSigmaDB
	case after == 0 || after == len(floors):
		nearest := floors[min(after, len(floors)-1)]
		db = nearest.db
		sigma = math.Hypot(floorSigmaDB, besideDBPerMHz*math.Abs(nearest.hz-hz)/1e6)
	default:
		a, b := floors[after-1], floors[after]
		t := (hz - a.hz) / (b.hz - a.hz)
		db = a.db + t*(b.db-a.db)
		sigma = math.Hypot(floorSigmaDB, insideDBPerMHz*math.Min(hz-a.hz, b.hz-hz)/1e6)
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
	sigma := edgeSigmaDB
	if x[0] > -edgeReachHz*0.9 || x[len(x)-1] < edgeReachHz*0.9 {
		sigma = oneSidedSigmaDB
	}
	return &floor{n, math.Hypot(math.Sqrt(variance)/n, sigma*math.Ln10/10), NoiseEdge}
}

// smooth averages each value with its neighbours, for weights that do not
// follow every fluctuation.
func smooth(x []float64) {
	const reach = 4
	in := append([]float64(nil), x...)
	for i := range x {
		x[i] = robust.Mean(in[max(0, i-reach):min(len(in), i+reach+1)])
	}
}

// noiseOf returns the best floor for a channel: from vacant channels or from
// the dips at its own edges, whichever is known better.
func (v *view) noiseOf(c band.Channel, floors []vacantFloor) *floor {
	best := interpolate(floors, c.CenterHz())
	low, high := v.edgeFloor(c.LowerHz), v.edgeFloor(c.UpperHz())
	v.inside(low, c.LowerHz, c)
	v.inside(high, c.UpperHz(), c)
	if edge := joinEdges(low, high); edge != nil && (best == nil || edge.relative < best.relative) {
		best = edge
	}
	return best
}

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
