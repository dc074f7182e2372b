package measure

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/mat"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

// channelPower is what a channel holds in its 6 MHz, in FS², with its relative
// standard uncertainty.
type channelPower struct{ all, relative float64 }

// unseenDB is the standard uncertainty of the mean level of what was not seen
// of a channel, beside what was: of a station whose echoes are not known, and of
// something unknown.
const unseenDB = 3

// powerOf integrates what was seen of a channel and adds what the rest holds: of
// a station what its spectrum and the response that its training promises say,
// of noise as much, of something unknown as much as far as that goes.
func (v *view) powerOf(r *Reading, e *evidence, noise *floor, p *promise) channelPower {
	var seen, hz float64
	for _, s := range r.Seen {
		if len(e.trained) > 0 && noise != nil {
			seen += v.mended(r.Channel, s, noise.density) * s.WidthHz()
		} else {
			seen += v.integral(s.LowHz, s.HighHz)
		}
		hz += s.WidthHz()
	}
	independent := v.spectrum.Averages * hz / v.spectrum.StepHz / 1.5
	own := math.Hypot(1/math.Sqrt(independent), v.passbandSigma()/decibel.PerNeper/math.Sqrt(3))
	var doubt float64
	for _, s := range r.Seen {
		doubt += v.foldedSigma(s.LowHz, s.HighHz) * s.WidthHz()
	}
	if seen > 0 {
		own = math.Hypot(own, doubt/seen)
	}
	unseen := math.Max(0, 1-hz/band.WidthHz)
	if unseen*band.WidthHz < v.spectrum.StepHz*4 {
		return channelPower{seen, own}
	}
	flat := seen / hz * band.WidthHz
	switch {
	case noise == nil:
		return channelPower{flat, math.Hypot(own, unseen*unseenDB/decibel.PerNeper)}
	case p != nil:
		signal := p.carrier
		all := signal + noise.density*band.WidthHz
		return channelPower{all, math.Hypot(own, p.carrierRelative*signal/all)}
	}
	signal := seen - noise.density*hz
	share := stationShare(r)
	if share > 0 && (len(e.trained) > 0 || len(e.lines) > 0) {
		signal /= share
	} else {
		signal *= band.WidthHz / hz
	}
	all := signal + noise.density*band.WidthHz
	if !(all > 0) {
		return channelPower{flat, own}
	}
	return channelPower{all, math.Hypot(own, unseen*unseenDB/decibel.PerNeper*math.Max(0, signal)/all)}
}

// integral is the power of the stitched spectrum between two frequencies, of
// what was seen there.
func (v *view) integral(lowHz, highHz float64) float64 {
	d := v.densities(lowHz, highHz)
	var sum float64
	n := 0
	for _, x := range d {
		if !math.IsNaN(x) {
			sum += x
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n) * (highHz - lowHz)
}

// stationShare is the share of a flat station's power that lies in what was seen
// of its channel.
func stationShare(r *Reading) float64 {
	var share float64
	for _, s := range r.Seen {
		low, high := s.LowHz-r.Channel.LowerHz, s.HighHz-r.Channel.LowerHz
		share += vsb.DataPower(low, high)
		if low < band.PilotOffsetHz && high > band.PilotOffsetHz {
			share += vsb.PilotShare
		}
	}
	return share
}

// excess returns by how much the pieces of a channel exceed the noise, relative
// to it and to what a station's spectrum has there, ascending. Pieces in the
// skirts count only where nothing else was seen.
func excess(parts []part, noise float64) []float64 {
	const least = 0.3 // of the flat top
	var flat, skirts []float64
	for _, p := range parts {
		x := p.density/noise - 1
		if p.offsetHz > skirtHz && p.offsetHz < band.WidthHz-skirtHz {
			flat = append(flat, x)
		} else if shape := vsb.Density(p.offsetHz) / vsb.Density(band.WidthHz/2); shape > least {
			skirts = append(skirts, x/shape)
		}
	}
	if len(flat) == 0 {
		flat = skirts
	}
	sort.Float64s(flat)
	return flat
}

// shape is a channel's density as noise and a station's data.
type shape struct {
	noise, noiseSigma float64 // FS²/Hz
	data, dataSigma   float64 // in the flat part of the station's spectrum
}

// shapePieceHz is the width of the pieces of which the shape is made; their
// medians leave lone lines out.
const shapePieceHz = 20e3

// shapeOf tells noise and data apart by the skirts that the standard gives the
// data, A/53 Part 2: the density is the noise and a share of the data. It needs
// no other channel. It is nil where no skirt was seen, or too little of one.
// Echoes bend the data's spectrum; what the fit leaves counts as uncertainty.
func (v *view) shapeOf(c band.Channel) *shape {
	var x, y []float64
	low, high := 1., 0.
	for _, span := range v.seen(c) {
		for at := span.LowHz; at+shapePieceHz <= span.HighHz; at += shapePieceHz {
			d := seenOnly(v.densities(at, at+shapePieceHz))
			if len(d) < leastBins {
				continue
			}
			share := vsb.Density(at+shapePieceHz/2-c.LowerHz) / vsb.Density(band.WidthHz/2)
			x, y = append(x, share), append(y, robust.Median(d)/robust.MedianOfGamma(v.spectrum.Averages))
			low, high = math.Min(low, share), math.Max(high, share)
		}
	}
	if high-low < 0.3 || len(x) < 5 {
		return nil
	}
	a, b := mat.NewDense(len(x), 2, nil), mat.NewVecDense(len(x), nil)
	model := slices.Clone(y)
	var fit mat.VecDense
	for range 4 {
		for i := range x {
			a.Set(i, 0, 1/model[i])
			a.Set(i, 1, x[i]/model[i])
			b.SetVec(i, y[i]/model[i])
		}
		if fit.SolveVec(a, b) != nil {
			return nil
		}
		for i := range x {
			model[i] = math.Max(fit.AtVec(0)+fit.AtVec(1)*x[i], y[i]/30)
		}
	}
	var normal, covariance mat.Dense
	normal.Mul(a.T(), a)
	if covariance.Inverse(&normal) != nil {
		return nil
	}
	var left float64
	for i := range x {
		r := y[i]/model[i] - 1
		left += r * r / float64(len(x)-2)
	}
	scatter := math.Max(left, 1.5/(v.spectrum.Averages*shapePieceHz/v.spectrum.StepHz))
	out := &shape{noise: fit.AtVec(0), data: fit.AtVec(1)}
	// What is left of echoes and of the pass band goes in pieces that are alike:
	// a tenth of them are independent.
	const alike = 3
	out.noiseSigma = math.Sqrt(covariance.At(0, 0)*scatter) * alike
	out.dataSigma = math.Sqrt(covariance.At(1, 1)*scatter) * alike
	return out
}

// floor is the shape's noise. Where that drowns in the data it lies somewhere
// between what it may be at the most and what no receiver is better than; nil
// where there are no data either.
func (s *shape) floor() *floor {
	const best = 1e-4 // noise over data: 40 dB
	if s == nil {
		return nil
	}
	if s.noise > 4*s.noiseSigma {
		return &floor{s.noise, s.noiseSigma / s.noise, NoiseEdge}
	}
	most, least := s.noise+2*s.noiseSigma, best*s.data
	if s.noise > s.noiseSigma {
		least = math.Max(least, s.noise-2*s.noiseSigma)
	}
	if !(least > 0 && most > least && s.data > 4*s.dataSigma) {
		return nil
	}
	return &floor{math.Sqrt(least * most), math.Log(most/least) / 4, NoiseEdge}
}

// lacks reports whether a station whose data has a density of expected in the
// flat part of its spectrum would have bent the channel's density more than it
// is, echoes of some dB allowed for.
func (s *shape) lacks(expected float64) bool {
	const allowed = 0.2
	return s != nil && s.data+4*s.dataSigma < allowed*expected
}

// shows reports whether data of about the density that is expected stands in the
// channel.
func (s *shape) shows(expected float64) bool {
	return s != nil && s.data > 4*s.dataSigma && s.data > expected*decibel.Power(-dataShortDB) && s.data < expected*decibel.Power(dataLongDB)
}

// dataOf is the density of the data in the flat part of a station's spectrum
// whose pilot has the line's power.
func (l *line) dataOf() float64 { return l.dataShare() * l.Density }
