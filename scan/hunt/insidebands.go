package hunt

import (
	"fmt"
	"math"

	"rooftone/dsp/intrude"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

const (
	// bandBins is how many values of a look's spectrum make one of a chart.
	bandBins = 32

	// A band that stands out must do so by this much and what is left of the
	// radio's pass band, twice, and by so many standard deviations: some thousand
	// independent places and widths are looked at, so that noise makes one in
	// less than 1e-8 of the channels. Echoes make ripples: none elsewhere in the
	// channel may be more than a bandApart-th. That is the one comparison within
	// a channel that has no probability; it can only deny.
	bandLeast, bandDeviations, bandApart = 0.15, 7, 2

	// Carriers are at most this wide, bandAroundHz on each side tell the level.
	carrierHz, bandAroundHz = 250e3, 400e3

	// edgeHz is what is left out at the edges of an occupied channel, where the
	// station's own spectrum is so low that what a neighbour spills counts most.
	edgeHz = 130e3
)

// chart is a channel's spectrum on an even grid.
type chart struct {
	startHz, stepHz float64
	density         []float64 // FS²/Hz, flattened, without lone lines; NaN where not measured
	expected        []float64 // what the station and the noise floor would have
	folded          []float64 // the most that may have folded in from beyond a slice's end
	averages        float64
	passbandDB      float64 // what may be left of the radio's pass band
}

func (c *chart) at(i int) float64 { return c.startHz + float64(i)*c.stepHz }

// chartOf joins the looks at a channel; nil when they do not show it.
func (e *examination) chartOf(r *measure.Reading) *chart {
	var looks []*look
	var step float64
	for _, l := range e.looks {
		reach := listen.UsableShare * l.rateHz
		if !l.overloaded() && l.of(r) && l.centerHz+reach > r.Channel.LowerHz && l.centerHz-reach < r.Channel.UpperHz() {
			looks = append(looks, l)
			step = math.Max(step, l.stepHz*bandBins)
		}
	}
	if len(looks) == 0 {
		return nil
	}
	c := &chart{startHz: r.Channel.LowerHz + step/2, stepHz: step, averages: math.Inf(1)}
	n := int(band.WidthHz / step)
	c.density, c.expected, c.folded = make([]float64, n), make([]float64, n), make([]float64, n)
	model := e.modelOf(r)
	distance := make([]float64, n)
	for i := range c.density {
		c.density[i], distance[i] = math.NaN(), math.Inf(1)
		c.expected[i] = model(c.at(i) - r.Channel.LowerHz)
	}
	for _, l := range looks {
		c.averages = math.Min(c.averages, l.averages*bandBins/2)
		p := e.passband[l.rateHz]
		c.passbandDB = math.Max(c.passbandDB, p.SigmaDB)
		e.addLook(c, distance, l)
	}
	c.leaveOutFolded()
	return c
}

// foldedMatters is from which part of what is expected on what may fold in counts:
// less makes no suspect.
const foldedMatters = 0.1

// leaveOutFolded takes from a chart what may be nothing but what folds in from
// beyond half the rate: a bump at the end of a slice is no signal of its own while
// it is no higher than what a poor radio would let in of what stands there.
func (c *chart) leaveOutFolded() {
	for i, most := range c.folded {
		if most > foldedMatters*c.expected[i] && c.density[i] < 2*(c.expected[i]+most) {
			c.density[i] = math.NaN()
		}
	}
}

// addLook adds to a chart what one look shows: where several show a place, the one
// into which the less can fold, and else that whose middle is nearer. What lies
// under one slice's spike is seen at the end of another.
func (e *examination) addLook(c *chart, distance []float64, l *look) {
	d := e.withoutLines(l)
	half := listen.UsableShare * l.rateHz
	for i := range c.density {
		offset := c.at(i)/e.clock - l.centerHz
		away := math.Abs(offset)
		if away > half-c.stepHz || away < spikeHz+c.stepHz/2 {
			continue
		}
		middle := int(math.Round(offset/l.stepHz)) + len(d)/2
		first := max(0, middle-bandBins/2)
		last := min(len(d), first+bandBins)
		if first >= last {
			continue
		}
		folded := e.foldedIn(l, offset)
		least := foldedMatters * c.expected[i]
		was, now := math.Max(c.folded[i], least), math.Max(folded, least)
		if !math.IsNaN(c.density[i]) && (now > was || now == was && away >= distance[i]) {
			continue
		}
		var sum float64
		for _, v := range d[first:last] {
			sum += float64(v)
		}
		c.density[i] = sum / float64(last-first) * e.flat(offset, l.rateHz)
		c.folded[i], distance[i] = folded, away
	}
}

// withoutLines is a look's density with the lines that stand alone replaced by
// what is around them.
func (e *examination) withoutLines(l *look) []float32 {
	out := append([]float32(nil), l.density...)
	found := e.found[l]
	for i, x := range found {
		near := 0
		for k := range found {
			if k != i && math.Abs(found[k].Hz-x.Hz) < bunchHz {
				near++
			}
		}
		if near >= bunchLines-1 && x.Ratio < 1e4 {
			continue
		}
		middle := int(math.Round(x.Hz/l.stepHz)) + len(out)/2
		const reach = 6
		for k := max(0, middle-reach); k <= min(len(out)-1, middle+reach); k++ {
			out[k] = float32(x.Around)
		}
	}
	return out
}

// modelOf is the density that a channel should have above its lower edge.
func (e *examination) modelOf(r *measure.Reading) func(offsetHz float64) float64 {
	noise := 0.0
	if r.NoiseDBFS != nil {
		noise = linear(r.NoiseDBFS.Value) / band.WidthHz
	}
	if r.Presence != measure.Present || r.Standard == measure.ATSC3 || r.PowerDBFS == nil {
		return func(float64) float64 { return math.Max(noise, 1e-30) }
	}
	signal := math.Max(0, linear(r.PowerDBFS.Value)-noise*band.WidthHz)
	return func(offsetHz float64) float64 {
		return math.Max(noise+signal*vsb.Density(offsetHz), 1e-30)
	}
}

// carriers makes suspects of what is narrower than a channel and broader than a
// line.
func (e *examination) carriers() []Suspect {
	var out []Suspect
	for i := range e.readings {
		r := &e.readings[i]
		if !r.Heard() || r.Standard == measure.ATSC3 {
			continue
		}
		c := e.chartOf(r)
		if c == nil {
			continue
		}
		out = append(out, e.carriersOf(r, c)...)
		if r.Presence != measure.Present {
			out = append(out, e.raisedVacant(r, c)...)
		}
	}
	return out
}

func (e *examination) carriersOf(r *measure.Reading, c *chart) []Suspect {
	ratio := make([]float64, len(c.density))
	for i := range ratio {
		ratio[i] = c.density[i] / c.expected[i]
		beside := math.Min(c.at(i)-r.Channel.LowerHz, r.Channel.UpperHz()-c.at(i))
		if beside < edgeHz {
			ratio[i] = math.NaN()
		}
	}
	o := intrude.BandOptions{
		Around: int(bandAroundHz / c.stepHz), Sigma: 1 / math.Sqrt(c.averages),
		Least: bandLeast + linear(2*c.passbandDB) - 1, Deviations: bandDeviations, Most: 4, Apart: bandApart,
	}
	for w := 2; float64(w)*c.stepHz <= carrierHz; w += max(1, w/2) {
		o.Widths = append(o.Widths, w)
	}
	var out []Suspect
	for _, b := range intrude.Bands(ratio, o) {
		var power float64
		for k := b.First; k <= b.Last; k++ {
			if v := c.density[k]; !math.IsNaN(v) {
				power += v * b.Excess / (1 + b.Excess) * c.stepHz
			}
		}
		if !(power > 0) {
			continue
		}
		// Its own peaks were taken out as lines.
		low, high := c.at(b.First)-bunchHz/3, c.at(b.Last)+bunchHz/3
		for i := range e.lines {
			if x := &e.lines[i]; x.Hz > low && x.Hz < high && x.Power < 2*power {
				power += x.Power
			}
		}
		s := e.carrier(r, c, b, power)
		if len(s.Harms) > 0 && s.Harms[0].CostDB.Value < leastCostDB {
			continue // in a station's skirt a neighbour's trace is enough
		}
		out = append(out, s)
	}
	return out
}

func (e *examination) carrier(r *measure.Reading, c *chart, b intrude.Band, power float64) Suspect {
	low, high := c.at(b.First)-c.stepHz/2, c.at(b.Last)+c.stepHz/2
	middle, width := (low+high)/2, high-low
	place := placeOf(middle, math.Max(c.stepHz/2, width/20), e.clockPPM)
	kind, name := Carrier, fmt.Sprintf("carrier %.0f kHz wide at %s MHz", width/1e3, megahertz(middle, place.Sigma, 3))
	if width > carrierHz {
		kind, name = RaisedFloor, "raised floor "+e.span(low, high)
	}
	s := Suspect{
		Kind: kind, Name: name, WidthHz: width,
		FrequencyHz: place,
		LevelDBFS:   &measure.Estimate{Value: decibel(power), Sigma: 10 / math.Ln10 * math.Hypot(b.Sigma/b.Excess, 0.1)},
		Evidence: []string{fmt.Sprintf("%s the spectrum stands %.1f dB above what is beside it, by %.0f times what chance does",
			e.span(low, high), decibel(1+b.Excess), b.Excess/b.Sigma)},
		Next: "listen to this frequency with a narrow receiver, or look when it comes and goes: what sends there by right, and what does not",
		Cure: "turn the antenna's back to it, or put a filter before the amplifier; tell the authority when it has no right there",
	}
	if doubt := e.clockDoubt(middle); doubt != "" {
		s.Evidence = append(s.Evidence, doubt)
	}
	if r.Presence == measure.Present {
		s.Evidence = append(s.Evidence, fmt.Sprintf("%.0f dB below all of channel %d", r.PowerDBFS.Value-decibel(power), r.Channel.Number))
		e.addHarm(&s, r, power, width)
	}
	return s
}

const (
	// raisedParts is into how many parts a channel without a station is cut,
	// and raisedDB by how much a part must stand above the noise floor, besides
	// what is uncertain of that and of the pass band. The floor is the Reading's:
	// a channel that is full has none of its own.
	raisedParts = 24
	raisedDB    = 1.5
)

// raisedVacant looks for a part of a channel without a station that is higher
// than the floor.
func (e *examination) raisedVacant(r *measure.Reading, c *chart) []Suspect {
	if r.NoiseDBFS == nil {
		return nil
	}
	floor := r.NoiseDBFS.Value - 10*math.Log10(band.WidthHz)
	least := raisedDB + 2*c.passbandDB + 3*r.NoiseDBFS.Sigma
	per := len(c.density) / raisedParts
	level := make([]float64, raisedParts)
	for k := range level {
		var part []float64
		for _, v := range c.density[k*per : (k+1)*per] {
			if !math.IsNaN(v) {
				part = append(part, v)
			}
		}
		level[k] = math.NaN()
		if len(part) > per/2 {
			level[k] = decibel(quantile(part, 0.5)) - floor
		}
	}
	var out []Suspect
	for first := 0; first < raisedParts; first++ {
		last := first
		for last < raisedParts && level[last] > least {
			last++
		}
		if last-first < 2 {
			continue
		}
		out = append(out, e.raised(r, c, level, first, last-1, per))
		first = last
	}
	return out
}

func (e *examination) raised(r *measure.Reading, c *chart, level []float64, first, last, per int) Suspect {
	low, high := c.at(first*per)-c.stepHz/2, c.at((last+1)*per-1)+c.stepHz/2
	var power, most float64
	for k := first; k <= last; k++ {
		power += (linear(level[k]) - 1) * linear(r.NoiseDBFS.Value) / band.WidthHz * float64(per) * c.stepHz
		most = math.Max(most, level[k])
	}
	s := Suspect{
		Kind: RaisedFloor, Name: "raised floor " + e.span(low, high),
		FrequencyHz: placeOf((low+high)/2, (high-low)/20, e.clockPPM), WidthHz: high - low,
		LevelDBFS: &measure.Estimate{Value: decibel(power), Sigma: 0.5},
		Evidence:  []string{fmt.Sprintf("up to %.1f dB above the noise floor, on channel %d where no station is", most, r.Channel.Number)},
		Next:      raisedNext, Cure: raisedCure,
	}
	below, above := e.beside(r.Channel)
	if n := spiller(below, above, first == 0 && level[0] >= level[last]-1, last == raisedParts-1 && level[last] >= level[first]-1); n != nil {
		s.spills(n.Channel.Number, r.Channel.Number)
		s.Evidence = append(s.Evidence, fmt.Sprintf("it begins at the edge to channel %d, whose power is %.0f dBFS", n.Channel.Number, n.PowerDBFS.Value))
	}
	return s
}

// spiller is the neighbour that something at an edge comes from.
func spiller(below, above *measure.Reading, atLower, atUpper bool) *measure.Reading {
	if atLower && below != nil && below.Presence == measure.Present && below.PowerDBFS != nil {
		return below
	}
	if atUpper && above != nil && above.Presence == measure.Present && above.PowerDBFS != nil {
		return above
	}
	return nil
}
