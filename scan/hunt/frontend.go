package hunt

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// frontEnd is what the gain-step test tells of a receiver. At the input, and
// with g for the gain relative to the highest, its noise is α(1 + ρ/g): what
// comes before the gain, and what follows it; products of second order are
// in proportion to g and those of third to g²: 2 and 3 dB at the output for
// each dB of gain.
type frontEnd struct {
	rho float64
	// second is 1/IIP2 and third 1/IIP3² at the highest gain, in the inverse
	// of stay.perGain's unit and of its square; 0 is none seen.
	second, third           float64
	secondSigma, thirdSigma float64

	floors []vacantNoise // ascending in frequency
	edges  []lineRungs   // what was seen beside stations
}

// vacantNoise is the noise read in one channel.
type vacantNoise struct {
	hz    float64
	alpha float64 // density at the input, FS²/Hz in stay.perGain's unit
}

// noise is the receiver's noise density at the input at a frequency and gain.
func (f *frontEnd) noise(hz, gain float64) float64 {
	return f.alpha(hz) * (1 + f.rho/gain)
}

// alpha is that of the vacant channels nearest by, weighted by how near.
func (f *frontEnd) alpha(hz float64) float64 {
	if len(f.floors) == 0 {
		return math.NaN()
	}
	var sum, weights float64
	for _, v := range f.floors {
		away := (v.hz - hz) / 6e6
		w := 1 / (1 + away*away*away*away)
		sum += w * math.Log(v.alpha)
		weights += w
	}
	return math.Exp(sum / weights)
}

// unit is what all products of one order put between two frequencies for an
// intercept of 1, at the highest gain.
func unit(all []mix, order int, lowHz, highHz float64) float64 {
	var sum float64
	for i := range all {
		m := &all[i]
		if m.order == order && m.hz+m.reach() > lowHz && m.hz-m.reach() < highHz {
			sum += m.strength * m.share(lowHz, highHz)
		}
	}
	return sum
}

// channelRungs is a channel's ladder and what is predicted for it.
type channelRungs struct {
	channel       band.Channel
	low, high     float64 // true
	rungs         []rung  // of the density
	second, third float64 // unit density of products
	alpha         float64 // of its own fit
	// of the products in it by its own rungs alone, density at the highest gain
	made, madeSigma float64
	order           int // that fits them better; 0 for none
}

// levels is how many levels the source's converter has, 0 when it does not
// matter.
func levels(datatype string) int {
	if datatype == "cu8" || datatype == "ci8" {
		return 256
	}
	return 0
}

// climb reads every ladder that stands in a channel, and finds the front end.
// skip says which channels hold a station, whose level hides the floor.
func (s *scene) climb(channels []band.Channel, skip func(band.Channel) bool, parents []Emitter, all []mix, lines []lineRungs, bits int) (*frontEnd, []channelRungs) {
	var list []channelRungs
	ladders := s.ladders()
	for _, c := range channels {
		if skip(c) {
			continue
		}
		best := channelRungs{channel: c}
		for i := range ladders {
			const edge = 150e3 // what a neighbour's skirt and the window reach
			middle := ladders[i].centerHz * s.clock
			low, high := max(middle-1e6, c.LowerHz+edge), min(middle+1e6, c.UpperHz()-edge)
			if high-low < 1.5e6 {
				continue
			}
			r := ladders[i].floors(s.topDB, low/s.clock, high/s.clock, bits)
			if len(r) > len(best.rungs) || len(r) > 1 && len(r) == len(best.rungs) && r[0].value > best.rungs[0].value {
				best.low, best.high, best.rungs = low, high, r
			}
		}
		if len(best.rungs) < 2 {
			continue
		}
		width := best.high - best.low
		best.second = unit(all, 2, best.low, best.high) / width
		best.third = unit(all, 3, best.low, best.high) / width
		list = append(list, best)
	}
	if len(list) == 0 {
		return nil, nil
	}
	f := &frontEnd{rho: findRho(list)}
	for i := range list {
		list[i].fitOwn(f.rho)
	}
	f.intercepts(list, lines)
	if f.second == 0 && f.third == 0 {
		// Where vacant channels show nothing, what is beside stations may.
		f.settleFloors(s, list, channels)
		f.edges = s.edgeRungs(s.edges(all), parents, f.rho, f.lowestFloor(), bits)
		f.intercepts(list, append(slices.Clone(lines), f.edges...))
	}
	f.settleFloors(s, list, channels)
	return f, list
}

func flat(float64) float64       { return 1 }
func after(gain float64) float64 { return 1 / gain }
func first(gain float64) float64 { return gain }
func square(g float64) float64   { return g * g }

// findRho takes ρ from all channels, each counting for as much as its own rungs
// know of it: one that shows no product knows far more. What a floor near the
// converter's steps is off by is as often too much as too little, so the middle of
// many is good.
func findRho(list []channelRungs) float64 {
	type ratio struct{ value, weight float64 }
	// What is usual counts as one more channel, which knows it to so much.
	const spread = 0.06
	all := []ratio{{usualRho, 1 / (spread * spread)}}
	whole := all[0].weight
	for i := range list {
		w, sigma, rest := fit(list[i].rungs, flat, after, first, square)
		clean, cleanSigma, left := fit(list[i].rungs, flat, after)
		if clean[0] > 0 && left < rest+plainer {
			w, sigma = clean, cleanSigma
		}
		if !(w[0] > 0) || sigma[1] == 0 {
			continue // held at nothing, ρ was not measured
		}
		r := ratio{value: w[1] / w[0]}
		s := math.Hypot(sigma[1]/w[0], r.value*sigma[0]/w[0])
		const least = 0.01 // what the pass bands' ripple makes of it
		r.weight = 1 / (s*s + least*least)
		all, whole = append(all, r), whole+r.weight
	}
	slices.SortFunc(all, func(a, b ratio) int { return cmp.Compare(a.value, b.value) })
	var sum float64
	for i, r := range all {
		if sum += r.weight; sum >= whole/2 {
			if i > 0 && sum-r.weight > whole*0.4 {
				return (r.value + all[i-1].value) / 2
			}
			return r.value
		}
	}
	return all[len(all)-1].value
}

// usualRho is that of a common dongle.
const usualRho = 0.05

// plainer is how much worse, in squares over σ², a plainer model may fit: chance
// has one more term better by as much in 5 of 10,000 ladders.
const plainer = 12

// fitOwn tells from a channel's own rungs how much of it is made by the
// receiver.
func (c *channelRungs) fitOwn(rho float64) {
	noise := func(g float64) float64 { return 1 + rho/g }
	w, _, rest := fit(c.rungs, noise)
	c.alpha = w[0]
	for _, try := range []struct {
		order int
		f     func(float64) float64
	}{{2, first}, {3, square}} {
		w, sigma, left := fit(c.rungs, noise, try.f)
		limit := plainer
		if c.order != 0 {
			limit = 0 // the better of the two
		}
		if w[1] > 0 && left < rest-float64(limit) {
			c.order, c.alpha, c.made, c.madeSigma, rest = try.order, w[0], w[1], sigma[1], left
		}
	}
}

// lineRungs is something narrow heard at several gains.
type lineRungs struct {
	hz            float64
	rungs         []rung  // of its power
	second, third float64 // unit power of products predicted there
}

// modelShare is how far off a prediction may be for an intercept of 1: the
// parents' levels, and what a tuner's own filters do to them.
const modelShare = 0.2

// intercepts finds the two intercepts that all rungs agree on best. Each
// channel's noise, and each line's steady part, is its own and is projected
// out; what is left are two unknowns.
func (f *frontEnd) intercepts(list []channelRungs, lines []lineRungs) {
	noise := func(g float64) float64 { return 1 + f.rho/g }
	trust := make([]float64, len(list)+len(lines)) // of each, 1 at first
	for i := range trust {
		trust[i] = 1
	}
	for round := range 6 {
		var a [2][2]float64
		var b [2]float64
		take := func(which int, r []rung, steady func(float64) float64, second, third float64) {
			if second == 0 && third == 0 {
				return
			}
			var base, nn, ny, n2, n3 float64
			type row struct{ n, y, k2, k3, w float64 }
			rows := make([]row, len(r))
			for i, x := range r {
				k2, k3 := second*x.gain, third*x.gain*x.gain
				sigma := math.Hypot(x.sigma, modelShare*(f.second*k2+f.third*k3))
				w := trust[which] / (sigma * sigma)
				n := steady(x.gain)
				rows[i] = row{n, x.value, k2, k3, w}
				base += w
				nn += w * n * n
				ny += w * n * x.value
				n2 += w * n * k2
				n3 += w * n * k3
			}
			var left float64
			for _, q := range rows {
				y, k2, k3 := q.y-q.n*ny/nn, q.k2-q.n*n2/nn, q.k3-q.n*n3/nn
				a[0][0] += q.w * k2 * k2
				a[0][1] += q.w * k2 * k3
				a[1][1] += q.w * k3 * k3
				b[0] += q.w * k2 * y
				b[1] += q.w * k3 * y
				miss := y - f.second*k2 - f.third*k3
				left += q.w / trust[which] * miss * miss
			}
			// What does not fit holds something else: it counts for less.
			const usual = 9
			if round > 1 { // by then something is known to fit to
				trust[which] = 1 / (1 + left/float64(len(r))/usual)
			}
		}
		for i := range list {
			take(i, list[i].rungs, noise, list[i].second, list[i].third)
		}
		for i := range lines {
			take(len(list)+i, lines[i].rungs, flat, lines[i].second, lines[i].third)
		}
		a[1][0] = a[0][1]
		f.second, f.third, f.secondSigma, f.thirdSigma = solveTwo(a, b)
	}
	const sure = 4
	seen := f.seen(list, lines)
	if f.second < sure*f.secondSigma || !seen {
		f.second = 0
	}
	if f.third < sure*f.thirdSigma || !seen {
		f.third = 0
	}
}

// seen reports whether any single ladder shows products by itself: many that
// are each a trifle off agree on something too.
func (f *frontEnd) seen(list []channelRungs, lines []lineRungs) bool {
	const (
		showing = 0.12 // of the noise: half a dB
		clearly = 5    // σ
		near    = 6    // a factor that the prediction may be off
	)
	for i := range list {
		c := &list[i]
		predicted := f.second*c.second + f.third*c.third
		if c.order != 0 && c.made > showing*c.alpha && c.made > clearly*c.madeSigma && predicted > c.made/near {
			return true
		}
	}
	for i := range lines {
		w, sigma, _ := fit(lines[i].rungs, flat, first, square)
		made, doubt := w[1]+w[2], math.Hypot(sigma[1], sigma[2])
		if made > w[0]/2 && made > clearly*doubt && f.second*lines[i].second+f.third*lines[i].third > made/near {
			return true
		}
	}
	return false
}

// solveTwo solves two normal equations for values that are not negative.
func solveTwo(a [2][2]float64, b [2]float64) (x, y, xSigma, ySigma float64) {
	single := func(a, b float64) (float64, float64) {
		if !(a > 0) {
			return 0, math.Inf(1)
		}
		return max(b/a, 0), 1 / math.Sqrt(a)
	}
	// Scaled, for the two are of unlike size.
	sx, sy := math.Sqrt(a[0][0]), math.Sqrt(a[1][1])
	if sx > 0 && sy > 0 {
		r := a[0][1] / sx / sy
		if d := 1 - r*r; d > 1e-6 {
			u, v := b[0]/sx, b[1]/sy
			x, y = (u-r*v)/d/sx, (v-r*u)/d/sy
			if x >= 0 && y >= 0 {
				return x, y, 1 / sx / math.Sqrt(d), 1 / sy / math.Sqrt(d)
			}
		}
	}
	x, xSigma = single(a[0][0], b[0])
	y, ySigma = single(a[1][1], b[1])
	// One of them alone: that which explains more.
	if b[0]*x >= b[1]*y {
		return x, 0, xSigma, ySigma
	}
	return 0, y, xSigma, ySigma
}

// settleFloors finds where the receiver's noise is read.
func (f *frontEnd) settleFloors(s *scene, list []channelRungs, channels []band.Channel) {
	f.floors = f.floors[:0]
	f.findFloors(list, func(c band.Channel) bool {
		r := s.reading(c)
		return r != nil && r.Presence == measure.Vacant
	})
	if len(f.floors) == 0 {
		f.noiseFloors(s, channels)
	}
}

// lowestFloor is the noise of the quieter floors, NaN for none.
func (f *frontEnd) lowestFloor() float64 {
	var all []float64
	for _, v := range f.floors {
		all = append(all, v.alpha)
	}
	return quantile(all, 0.25)
}

// findFloors keeps the channels whose noise is nothing but the receiver's: those
// that the survey found vacant by evidence of its own and that are not far above
// the others of that kind, and those as low whose rise with the gain is a
// product's. Where none is vacant none is a floor, however much emptier than the
// rest it is.
func (f *frontEnd) findFloors(list []channelRungs, vacant func(band.Channel) bool) {
	var all []float64
	for i := range list {
		c := &list[i]
		// What the products of the common intercepts put in is not noise.
		if made := f.second*c.second + f.third*c.third; made > 0 {
			var sum, weights float64
			for _, r := range c.rungs {
				rest := r.value - f.second*c.second*r.gain - f.third*c.third*r.gain*r.gain
				sigma := math.Hypot(r.sigma, modelShare*(f.second*c.second*r.gain+f.third*c.third*r.gain*r.gain))
				n := 1 + f.rho/r.gain
				w := n * n / (sigma * sigma)
				sum += w * rest / n
				weights += w
			}
			if sum > 0 {
				c.alpha = sum / weights
			}
		}
		if c.alpha > 0 && vacant(c.channel) {
			all = append(all, c.alpha)
		}
	}
	limit := quantile(all, 0.25) * linear(1.5)
	for i := range list {
		if c := &list[i]; c.alpha > 0 && c.alpha < limit && (vacant(c.channel) || c.order != 0) {
			f.floors = append(f.floors, vacantNoise{c.channel.CenterHz(), c.alpha})
		}
	}
	slices.SortFunc(f.floors, func(a, b vacantNoise) int { return cmp.Compare(a.hz, b.hz) })
}

// noiseFloors takes the noise from where the survey read it in channels that hold
// something: at their edges, or under the training.
func (f *frontEnd) noiseFloors(s *scene, channels []band.Channel) {
	var all []float64
	var found []vacantNoise
	for _, c := range channels {
		r := s.reading(c)
		if r == nil || r.NoiseDBFS == nil || r.GainDB == nil {
			continue
		}
		v := vacantNoise{c.CenterHz(), linear(r.NoiseDBFS.Value-s.realGain(*r.GainDB)) / band.WidthHz / (1 + f.rho/s.relative(*r.GainDB))}
		found, all = append(found, v), append(all, v.alpha)
	}
	limit := quantile(all, 0.25) * linear(1.5)
	for _, v := range found {
		if v.alpha < limit {
			f.floors = append(f.floors, v)
		}
	}
	slices.SortFunc(f.floors, func(a, b vacantNoise) int { return cmp.Compare(a.hz, b.hz) })
}
