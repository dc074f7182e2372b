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
	now     []units // in each channel
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
	return p
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

// productsNow is what the receiver makes of strong signals now, in one draw, in units
// of k·290 K·6 MHz at the antenna's terminals. What was measured as noise holds it
// already, and cannot be less than it is.
func (m *model) productsNow(draw, i int) (second, third float64) {
	if m.Channels[i].Noise == nil {
		return 0, 0
	}
	const most = 0.9
	second, third, _ = m.toFloor(draw, i)
	total := second + third
	if total > most {
		second, third, total = second/total*most, third/total*most, most
	}
	noise := m.slices[draw][i].noise() / (1 - total)
	return second * noise, third * noise
}

// addProducts adds to a state what the receiver makes of strong signals now, where
// that is known.
func (m *model) addProducts(draw, i int) {
	s := &m.slices[draw][i]
	if m.Channels[i].Noise == nil {
		return
	}
	if m.Overload != nil {
		s.second, s.third = m.productsNow(draw, i)
	}
	_, _, floor := m.toFloor(draw, i)
	s.scale = (s.noise() + s.second + s.third) / floor * s.gain
}
