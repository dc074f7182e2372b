package cure

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/scan/measure"
)

// Overload is what a hunt found of the receiver and of what is strong enough to
// overload it.
type Overload struct {
	// The receiver's input intercepts at its highest gain, as levels that this
	// would show; nil where no product of that order was seen.
	SecondDBFS, ThirdDBFS *measure.Estimate
	Emitters              []Emitter
}

// Emitter is one strong signal, as the highest gain would show it.
type Emitter struct {
	LowHz, HighHz float64
	LevelDBFS     float64
}

// usualThird is the third-order intercept of a cheap radio at its highest gain, over
// full scale. Common practice, from memory: some -35 to -15 dBm where full scale is
// some -66.
var usualThird = Range{30, 55}

// The grid on which products are added up: all channel edges and their middles to a
// third lie on it.
const (
	gridHz   = 2e6
	gridBins = 500 // to 1 GHz
)

// products are what two curves make of all that is strong, for intercepts of 1.
type products struct {
	parents []parent
	now     []units   // in each channel
	excess  []float64 // dB, of each channel's floor over the lowest
}

// units are the products of second and third order in a channel for intercepts of 1.
type units struct{ second, third float64 }

// parent is a strong signal at the receiver's input, in units of full scale at the
// highest gain.
type parent struct {
	lowHz, highHz float64
	power         float64
}

func newProducts(m *Setup) *products {
	p := &products{parents: m.parents()}
	p.now = m.units(p.parents, func(float64) float64 { return 1 })
	for i := range m.Channels {
		p.excess = append(p.excess, m.excessDB(i))
	}
	return p
}

// excessDB is by how much a channel's floor stands above the lowest at about the same
// gain: the receiver's own noise is much the same there. It is NaN where there is no
// other.
func (m *Setup) excessDB(i int) float64 {
	const alikeDB = 1.5
	c := &m.Channels[i]
	if c.Noise == nil {
		return 0
	}
	at := func(c *Channel) float64 { return c.Noise.Value + m.lessDB(c) }
	lowest, others := at(c), 0
	for k := range m.Channels {
		if o := &m.Channels[k]; k != i && o.Noise != nil && math.Abs(m.lessDB(o)-m.lessDB(c)) <= alikeDB {
			lowest, others = math.Min(lowest, at(o)), others+1
		}
	}
	if others == 0 {
		return math.NaN()
	}
	return at(c) - lowest
}

// units adds up the products in every channel, each parent multiplied by what a
// change does to its frequency.
func (m *Setup) units(parents []parent, factor func(hz float64) float64) []units {
	out := make([]units, len(m.Channels))
	p := spectrum(parents, factor)
	for i := range out {
		if c := m.Channels[i].Channel; m.Channels[i].Noise != nil {
			out[i].second, out[i].third = made(p, c.LowerHz, c.UpperHz())
		}
	}
	return out
}

// parents are what is strong enough to count: what a hunt found, or else the
// channels' own stations.
func (m *Setup) parents() []parent {
	var out []parent
	if o := m.Overload; o != nil && len(o.Emitters) > 0 {
		for _, e := range o.Emitters {
			out = append(out, parent{e.LowHz, e.HighHz, decibel.Power(e.LevelDBFS)})
		}
		return out
	}
	for i := range m.Channels {
		c := &m.Channels[i]
		if c.Power == nil || c.Presence == measure.Vacant || c.Presence == "" {
			continue
		}
		power := decibel.Power(c.Power.Value + m.lessDB(c))
		if c.Noise != nil {
			power -= decibel.Power(c.Noise.Value + m.lessDB(c))
		}
		if power > 0 {
			out = append(out, parent{c.Channel.LowerHz, c.Channel.UpperHz(), power})
		}
	}
	return out
}

// spectrum spreads parents over the grid, each multiplied by what a change does to
// its frequency.
func spectrum(parents []parent, factor func(hz float64) float64) []float64 {
	out := make([]float64, gridBins)
	for _, p := range parents {
		first := int(p.lowHz / gridHz)
		last := max(first, int(math.Ceil(p.highHz/gridHz))-1)
		if first < 0 || last >= gridBins {
			continue
		}
		power := p.power * factor((p.lowHz+p.highHz)/2) / float64(last-first+1)
		for k := first; k <= last; k++ {
			out[k] += power
		}
	}
	return out
}

// made is the power that products of second and third order put into a channel,
// for intercepts of 1: of signals like noise, a₂x² makes ΣPᵢPⱼ/2 at the sums and ΣPᵢPⱼ
// at the differences, and a₃x³ twice ΣPᵢPⱼPₖ over ordered i and j at fᵢ + fⱼ − fₖ. What
// a signal makes around its own frequency, and what it does to another's
// modulation, is left out.
func made(p []float64, lowHz, highHz float64) (second, third float64) {
	var on []int
	for k, v := range p {
		if v > 0 {
			on = append(on, k)
		}
	}
	for k := int(lowHz / gridHz); k < int(math.Ceil(highHz/gridHz)); k++ {
		for _, a := range on {
			if b := k - a; b >= 0 && b < gridBins {
				second += p[a] * p[b] / 2
			}
			if b := a - k; b >= 0 && b < gridBins {
				second += p[a] * p[b]
			}
			for _, b := range on {
				c := a + b - k
				if c < 0 || c >= gridBins || c == a || c == b {
					continue
				}
				third += 2 * p[a] * p[b] * p[c]
			}
		}
	}
	return second, third
}

// intercepts are the receiver's in one draw, at the highest gain, as powers;
// +Inf is none.
func (m *model) intercepts(draw int) (second, third float64) {
	second, third = math.Inf(1), math.Inf(1)
	z := sigmas(draw, slotThird)
	o := m.Overload
	switch {
	case o == nil:
		third = decibel.Power(usualThird.at(share(draw, slotThird)))
	default:
		if e := o.SecondDBFS; e != nil {
			second = decibel.Power(e.Value + z*e.Sigma)
		}
		if e := o.ThirdDBFS; e != nil {
			third = decibel.Power(e.Value + z*e.Sigma)
		}
	}
	return second, third
}

// toFloor are what the receiver makes of strong signals now, in one draw, over the
// floor that was measured: products of second and of third order.
func (m *model) toFloor(draw, i int) (second, third, floor float64) {
	c := &m.Channels[i]
	less := m.lessDB(c)
	floor = decibel.Power(c.Noise.Value + less) // at the input, as the highest gain would show it
	u := m.products.now[i]
	a, b := m.intercepts(draw)
	return u.second / a * decibel.Power(-less) / floor, u.third / (b * b) * decibel.Power(-2*less) / floor, floor
}

// fitted brings the products that are predicted for a channel to what was measured
// there, and returns by what factor, and what share of the floor they are then. They
// are no more than what stands under the signal and what the floor has over other
// floors; and where much of it was predicted, that is what the floor has: intercepts
// stray by some dB with frequency.
func (m *model) fitted(draw, i int, predicted, under, inFloor float64) (factor, share float64) {
	const wandersDB, ownShare, likely, clearDB, strayDB = 1, 0.9, 0.2, 3, 6
	excess := m.products.excess[i]
	if math.IsNaN(excess) {
		if inFloor > ownShare {
			return (under + ownShare) / predicted, ownShare
		}
		return 1, inFloor
	}
	shareOf := func(dB float64) float64 { return math.Min(ownShare, 1-decibel.Power(-math.Max(0, dB))) }
	if most := shareOf(excess + wandersDB); inFloor > most {
		return (under + most) / predicted, most
	}
	if predicted > likely && excess > clearDB {
		share = shareOf(excess + wandersDB*sigmas(draw, slotChannels+3*i))
		if factor = (under + share) / predicted; factor < decibel.Power(strayDB) {
			return factor, share
		}
	}
	return 1, inFloor
}

// addProducts adds to a state what the receiver makes of strong signals now, and what
// else stands under the signal. What was measured, the floor and what is under the
// signal, holds the products already: what stands under it first, and of the floor
// the most of it at most. Where more is predicted than was measured, the prediction is
// too high, and is scaled from then on.
func (m *model) addProducts(draw, i int) {
	s := &m.slices[draw][i]
	under := decibel.Power(m.Channels[i].UnderCost) - 1 // over the floor
	s.clip = 1
	if m.Channels[i].Noise == nil {
		s.under = under * s.noise()
		return
	}
	second, third, floor := m.toFloor(draw, i)
	inFloor := math.Max(0, second+third-under)
	s.clip, inFloor = m.fitted(draw, i, second+third, under, inFloor)
	if m.Overload == nil { // assumed products are told, not counted
		inFloor = 0
	}
	unit := s.noise() / (1 - inFloor) // the floor
	s.scale = unit / floor * s.gain
	s.second, s.third = second*s.clip*unit, third*s.clip*unit
	if m.Overload == nil {
		s.assumed = s.second + s.third
		s.second, s.third, s.under = 0, 0, under*unit
		return
	}
	s.under = math.Max(0, under*unit-s.second-s.third)
}
