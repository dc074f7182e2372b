package measure

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"rooftone/dsp/decibel"
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
		seen += v.integral(s.LowHz, s.HighHz)
		hz += s.WidthHz()
	}
	independent := v.spectrum.Averages * hz / v.spectrum.StepHz / 1.5
	own := math.Hypot(1/math.Sqrt(independent), v.passbandSigma()/decibel.PerNeper/math.Sqrt(3))
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

// skirtFloor tells a station's noise from its data by the skirt between them:
// the density there is noise and a share of the data that the standard gives,
// A/53 Part 2. It is nil where too little of a skirt was seen.
func (v *view) skirtFloor(c band.Channel) *floor {
	var x, y []float64
	low, high := 1., 0.
	s := &v.spectrum
	for _, span := range v.seen(c) {
		for i := max(0, int((span.LowHz-s.StartHz)/s.StepHz)); i < len(s.Density) && s.At(i) <= span.HighHz; i++ {
			hz := s.At(i) - c.LowerHz
			if d := s.Density[i]; !math.IsNaN(d) && d > 0 && math.Abs(hz-band.PilotOffsetHz) > pilotGapHz {
				shape := vsb.Density(hz) / vsb.Density(band.WidthHz/2)
				x, y = append(x, shape), append(y, d)
				low, high = math.Min(low, shape), math.Max(high, shape)
			}
		}
	}
	if high-low < 0.4 || len(x) < 3*leastBins {
		return nil
	}
	a, b := mat.NewDense(len(x), 2, nil), mat.NewVecDense(len(x), nil)
	model := append([]float64(nil), y...)
	smooth(model)
	var fit mat.VecDense
	var covariance mat.Dense
	for range 3 {
		for i := range x {
			w := 1 / model[i]
			a.Set(i, 0, w)
			a.Set(i, 1, x[i]*w)
			b.SetVec(i, y[i]*w)
		}
		if fit.SolveVec(a, b) != nil {
			return nil
		}
		for i := range x {
			model[i] = math.Max(fit.AtVec(0)+fit.AtVec(1)*x[i], y[i]/100)
		}
	}
	var normal mat.Dense
	normal.Mul(a.T(), a)
	if covariance.Inverse(&normal) != nil {
		return nil
	}
	noise := fit.AtVec(0)
	// Echoes bend a skirt: by a tenth of the data at the least.
	sigma := math.Hypot(math.Sqrt(covariance.At(0, 0)*1.5/s.Averages), 0.1*math.Max(0, fit.AtVec(1)))
	if !(noise > sigma) {
		return nil
	}
	return &floor{noise, sigma / noise, NoiseEdge}
}

// pilotGapHz is how far from a pilot's nominal place its line may be.
const pilotGapHz = 60e3
