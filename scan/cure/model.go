package cure

import (
	"cmp"
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/scan/measure"
)

// model is a Setup with all that is drawn of it.
type model struct {
	*Setup
	weights  []float64 // of the draws, by the floors at several gains; their sum is 1
	slices   [][]state // by draw, then channel
	products *products
}

// state is a channel as it is, in one draw. Powers are referred to the antenna's
// terminals, in units of k·290 K·6 MHz.
type state struct {
	outside  float64 // fa
	line     float64 // F − 1
	receiver float64 // (Fr − 1)/G
	gain     float64 // G
	top      float64 // the receiver's noise factor at its highest gain
	back     float64 // the share of that from behind its gain

	second, third float64 // products made in the receiver
	assumed       float64 // the same where intercepts are not known: told, not counted
	clip          float64 // what of the predicted products was really there
	under         float64 // what else stands under the signal
	signal        float64 // the mean signal, by the shape and the margin
	scale         float64 // at the receiver's input, of full scale at the highest gain
}

func (s *state) noise() float64 { return s.outside + s.line + s.receiver }

// all is what the signal stands against.
func (s *state) all() float64 { return s.noise() + s.second + s.third + s.under }

func newModel(s *Setup) *model {
	m := &model{Setup: s}
	for i := range m.Line {
		m.Line[i].slot = 4 * i
	}
	m.products = newProducts(s)
	m.weigh()
	m.slices = make([][]state, draws)
	for d := range m.slices {
		m.slices[d] = make([]state, len(m.Channels))
		for i := range m.Channels {
			m.set(d, i)
		}
	}
	return m
}

// installed is the line in one draw.
func (m *model) installed(draw int, hz float64) (gain, factor float64) {
	if m.Line == nil {
		loss := decibel.Power(untoldLine.at(share(draw, slotLine)) * math.Sqrt(hz/600e6))
		return 1 / loss, loss
	}
	gain, factor, _ = chain(m.Line, hz, draw)
	return gain, factor
}

// receiver is the radio's own noise in one draw: its noise factor at the highest
// gain, and the share of that from behind the gain.
func (m *model) receiver(draw int) (top, back float64) {
	nf := m.NoiseFigure
	if nf == (Range{}) {
		nf = UsualNoiseFigure()
	}
	r := m.BackEnd
	if r == (Range{}) {
		r = usualBackEnd
	}
	back = math.Exp(math.Log(r.Low) + share(draw, slotBackEnd)*math.Log(r.High/r.Low))
	return decibel.Power(nf.at(share(draw, slotNoiseFigure))), back
}

// factorAt is a radio's noise factor with so many dB less than its highest gain.
func factorAt(top, back, lessDB float64) float64 {
	return top * (1 - back + back*decibel.Power(lessDB))
}

// lessDB is by how much a channel's gain is below the highest.
func (m *Setup) lessDB(c *Channel) float64 {
	if c.GainDB == nil || math.IsNaN(m.TopGainDB) {
		return 0
	}
	return math.Max(0, m.TopGainDB-*c.GainDB)
}

// set works out a channel's state in one draw.
func (m *model) set(draw, i int) {
	c := &m.Channels[i]
	hz := c.Channel.CenterHz()
	s := &m.slices[draw][i]
	gain, factor := m.installed(draw, hz)
	s.top, s.back = m.receiver(draw)
	fr := factorAt(s.top, s.back, m.lessDB(c))
	// One channel's noise is not just another's: other things send there.
	const ownDB = 1.0
	own := ownDB / manMadeSigmaDB * sigmas(draw, slotChannels+3*i)
	s.outside = outside(m.Surroundings, hz, share(draw, slotWarm), sigmas(draw, slotManMade)+own)
	if head, ok := m.Head[c.Channel.Number]; ok {
		gain, factor, s.outside = m.told(draw, i, head, gain, factor, fr)
	}
	if y, ok := m.bare(c.Channel.CenterHz()); ok {
		ratio := decibel.Power(y.Value + y.Sigma*sigmas(draw, slotChannels+3*i+1))
		// With a resistor the receiver's input sees 290 K: noise fr. With the
		// antenna it is ratio times that.
		s.outside = (ratio*fr-(fr-1))/gain - (factor - 1)
	}
	s.outside = math.Max(s.outside, coldest)
	s.gain, s.line, s.receiver = gain, factor-1, (fr-1)/gain
	m.addProducts(draw, i)
	if c.hopeful() {
		s.signal = c.shape.mean(decibel.Power(c.Margin.Value+m.ThresholdDB)) * s.all()
	}
}

// told makes a line and the outside's noise of what a mark at the antenna shows.
// With L for the line's loss and d for what C/N lost, both as factors, of a line
// that only loses
//
//	d = (fa − 1 + L·Fr)/(fa − 1 + Fr), so fa − 1 = Fr·(L − d)/(d − 1)
//
// A line that amplifies keeps what is known of its parts.
func (m *model) told(draw, i int, head LineLoss, gain, factor, fr float64) (g, f, outsideNoise float64) {
	level := head.LevelDB.Value + head.LevelDB.Sigma*sigmas(draw, slotChannels+3*i+1)
	lost := head.CNDB.Value + head.CNDB.Sigma*sigmas(draw, slotChannels+3*i+2)
	const mostOutside = 1e4
	if level <= 0.05 {
		return gain, factor, outside(m.Surroundings, m.Channels[i].Channel.CenterHz(), share(draw, slotWarm), sigmas(draw, slotManMade))
	}
	l, d := decibel.Power(level), decibel.Power(lost)
	fa := mostOutside
	if d > 1 {
		fa = math.Min(mostOutside, 1+fr*math.Max(0, l-d)/(d-1))
	}
	return 1 / l, l, fa
}

// bare is by how much the antenna raises the noise, at the nearest channel where
// that was measured.
func (m *model) bare(hz float64) (measure.Estimate, bool) {
	const nearHz, perMHz = 60e6, 0.02
	best := measure.Estimate{}
	nearest := math.Inf(1)
	for i := range m.Channels {
		y, ok := m.Bare[m.Channels[i].Channel.Number]
		away := math.Abs(m.Channels[i].Channel.CenterHz() - hz)
		if ok && away < nearest && away <= nearHz {
			nearest = away
			best = measure.Estimate{Value: y.Value, Sigma: math.Hypot(y.Sigma, perMHz*away/1e6)}
		}
	}
	return best, !math.IsInf(nearest, 0)
}

// weigh lets the floors at several gains say which draws are likely: what comes
// from behind the gain shows where there is less of it. Over frequency a radio's
// gain, and with it the floor, wanders by a dB or so, and gains are not what their
// names say.
func (m *model) weigh() {
	const apartDB, wandersDB, named = 5, 1.0, 0.15
	m.weights = make([]float64, draws)
	type point struct {
		channel *Channel
		floor   float64
		sigma   float64
	}
	var points []point
	least, most := math.Inf(1), math.Inf(-1)
	for i := range m.Channels {
		c := &m.Channels[i]
		if c.Noise == nil || c.GainDB == nil || math.IsNaN(m.TopGainDB) {
			continue
		}
		less := m.lessDB(c)
		points = append(points, point{c, c.Noise.Value - *c.GainDB, math.Hypot(math.Hypot(wandersDB, c.Noise.Sigma), named*less)})
		least, most = math.Min(least, less), math.Max(most, less)
	}
	var sum float64
	for d := range m.weights {
		m.weights[d] = 1
		if most-least >= apartDB {
			var mean, weight, squares float64
			rest := make([]float64, len(points))
			for k, p := range points {
				gain, factor := m.installed(d, p.channel.Channel.CenterHz())
				top, back := m.receiver(d)
				out := outside(m.Surroundings, p.channel.Channel.CenterHz(), share(d, slotWarm), sigmas(d, slotManMade))
				n := (out+factor-1)*gain + factorAt(top, back, m.lessDB(p.channel)) - 1
				rest[k] = p.floor - decibel.Of(n)
				w := 1 / (p.sigma * p.sigma)
				mean, weight = mean+w*rest[k], weight+w
			}
			mean /= weight
			for k, p := range points {
				squares += (rest[k] - mean) * (rest[k] - mean) / (p.sigma * p.sigma)
			}
			m.weights[d] *= math.Exp(-squares / 2)
		}
		sum += m.weights[d]
	}
	if !(sum > 0) { // nothing fits: then the floors say nothing
		for d := range m.weights {
			m.weights[d], sum = 1, draws
		}
	}
	for d := range m.weights {
		m.weights[d] /= sum
	}
}

// Interval is a figure with the interval that holds it with a probability of 95 %.
type Interval struct{ Middle, Low, High float64 }

// interval is that of one value a draw.
func (m *model) interval(values []float64) Interval {
	order := make([]int, len(values))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(values[a], values[b]) })
	at := func(q float64) float64 {
		var sum float64
		for _, d := range order {
			if sum += m.weights[d]; sum >= q {
				return values[d]
			}
		}
		return values[order[len(order)-1]]
	}
	return Interval{at(0.5), at(0.025), at(0.975)}
}
