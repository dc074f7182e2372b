package cure

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/scan/band"
)

// Change is what is done to a house: parts are put in at the antenna's end of its
// line and at the receiver's, each in order from the antenna on.
type Change struct {
	Name       string
	Head, Tail []Part
	Without    bool // the line as installed is taken out
}

// Outcome is what a change would bring.
type Outcome struct {
	Change Change
	// Channels are those whose margin can move, in the order of Setup.Channels.
	Channels []ChannelOutcome
	// Gained and Lost count the wanted channels that come to decode and cease to:
	// what is to be expected, and the interval.
	Gained, Lost Interval
}

// ChannelOutcome is what a change would bring to one channel.
type ChannelOutcome struct {
	Channel band.Channel
	Index   int      // in Setup.Channels
	Change  Interval // dB of margin
	Margin  Interval // dB, with what is not known of the margin now
	// Decodes is the probability that the margin is above 0 dB afterwards, Before
	// that it is now.
	Before, Decodes float64
	// Products is by how many dB what is made of strong signals, in the receiver or
	// an amplifier, stands above all noise afterwards, and ProductsNow before.
	Products, ProductsNow Interval
	// Assumed says that no hunt told the receiver's intercepts: the products are of
	// intercepts that are common, and have no part in Change.
	Assumed bool
}

// Move is what becomes of a channel's picture.
type Move int

const (
	Stays Move = iota
	Comes
	MayCome
	Falls
	MayFall
)

// Move says what becomes of a channel's picture: surely, or perhaps, by one in twenty.
func (c *ChannelOutcome) Move(marginNow float64) Move {
	const surely = 0.95
	switch was := marginNow >= 0; {
	case !was && c.Decodes > surely:
		return Comes
	case !was && c.Decodes > 1-surely:
		return MayCome
	case was && c.Decodes < 1-surely:
		return Falls
	case was && c.Decodes < surely:
		return MayFall
	}
	return Stays
}

const (
	productsReachDB = -3 // to noise: half a dB and more
	productsMoreDB  = 3  // than before the change
)

func overloads(then, now float64) bool {
	return then > productsReachDB && then > now+productsMoreDB
}

// Overloaded reports whether the change does harm by overload: what is made of strong
// signals is likely to reach the noise, and is more than it was.
func (c *ChannelOutcome) Overloaded() bool {
	return !c.Assumed && overloads(c.Products.Middle, c.ProductsNow.Middle)
}

// MayOverload reports whether that is possible, but not likely or not known.
func (c *ChannelOutcome) MayOverload() bool {
	if c.Assumed {
		return overloads(c.Products.Middle, c.ProductsNow.Middle)
	}
	return !c.Overloaded() && overloads(c.Products.High, c.ProductsNow.High)
}

// Predictor answers what-if questions about a house.
type Predictor struct{ m *model }

// New prepares a Predictor. It keeps the Setup.
func New(s Setup) *Predictor {
	if s.Surroundings == "" {
		s.Surroundings = Residential
	}
	return &Predictor{newModel(&s)}
}

// line is the line as it would be.
func (m *model) line(c Change) (head, tail []Part) {
	number := func(parts []Part, from int) []Part {
		out := append([]Part(nil), parts...)
		for i := range out {
			out[i].slot = slotChanges + 4*(from+i)
		}
		return out
	}
	return number(c.Head, 0), number(c.Tail, len(c.Head))
}

// Predict works out one change.
func (p *Predictor) Predict(c Change) Outcome {
	m := p.m
	head, tail := m.line(c)
	out := Outcome{Change: c}
	then := m.newAfter(c, head, tail)
	gained, lost := make([]float64, draws), make([]float64, draws)
	for i := range m.Channels {
		ch := &m.Channels[i]
		if !ch.hopeful() {
			continue
		}
		change, margin := make([]float64, draws), make([]float64, draws)
		products, now := make([]float64, draws), make([]float64, draws)
		o := ChannelOutcome{Channel: ch.Channel, Index: i, Assumed: m.Overload == nil}
		for d := range draws {
			s := &m.slices[d][i]
			x := then.at(d, i)
			products[d] = decibel.Of((x.second + x.third + 1e-12) / x.noise())
			now[d] = decibel.Of((s.second + s.third + s.assumed + 1e-12) / s.noise())
			if o.Assumed {
				x.second, x.third = 0, 0
			}
			change[d] = ch.shape.change(s.signal/s.all(), x.signal/s.signal*s.all()/x.all())
			before := ch.Margin.Value + ch.Margin.Sigma*sigmas(d, slotChannels+3*i+2)
			margin[d] = before + change[d]
			w := m.weights[d]
			if before >= 0 {
				o.Before += w
			}
			if margin[d] >= 0 {
				o.Decodes += w
			}
			if ch.Wanted && before < 0 && margin[d] >= 0 {
				gained[d]++
			}
			if ch.Wanted && before >= 0 && margin[d] < 0 {
				lost[d]++
			}
		}
		o.Change, o.Margin, o.Products, o.ProductsNow = m.interval(change), m.interval(margin), m.interval(products), m.interval(now)
		out.Channels = append(out.Channels, o)
	}
	out.Gained, out.Lost = m.counted(gained), m.counted(lost)
	return out
}

// counted is the interval of a number, with what is to be expected in its middle.
func (m *model) counted(values []float64) Interval {
	i := m.interval(values)
	i.Middle = 0
	for d, v := range values {
		i.Middle += m.weights[d] * v
	}
	return i
}

// after works out channels behind a change.
type after struct {
	*model
	change     Change
	head, tail []Part
	parts      []Part // the whole line as it is then; nil where the installed one is not told
	units      []units
	amplified  [][]units // by amplifier and channel, for intercepts of 1
	amplifiers []int     // in parts
}

func (m *model) newAfter(c Change, head, tail []Part) *after {
	a := &after{model: m, change: c, head: head, tail: tail}
	a.parts = append(a.parts, head...)
	if !c.Without {
		a.parts = append(a.parts, m.Line...)
	}
	a.parts = append(a.parts, tail...)
	// What is strong moves by frequency as the line makes it, at its middle.
	const middle = -1
	a.units = m.units(m.products.parents, func(hz float64) float64 {
		was, _ := m.installed(middle, hz)
		gain, _, signal := a.chain(middle, hz, -1)
		return gain * signal / was * a.kept(hz)
	})
	for k := range a.parts {
		if a.parts[k].Kind != Amplifier {
			continue
		}
		a.amplifiers = append(a.amplifiers, k)
		upTo := a.parts[:k]
		a.amplified = append(a.amplified, m.units(m.products.parents, func(hz float64) float64 {
			was, _ := m.installed(middle, hz)
			gain, _, signal := chain(upTo, hz, middle)
			return gain * signal / was * kept(upTo, hz)
		}))
	}
	return a
}

// kept is what filters leave of a frequency that they are to keep out: 20 dB less,
// common practice.
func kept(parts []Part, hz float64) float64 {
	const rejects = 0.01
	left := 1.0
	for i := range parts {
		if k := parts[i].Keeps; k.HighHz > 0 && hz >= k.LowHz && hz < k.HighHz {
			left *= rejects
		}
	}
	return left
}

func (a *after) kept(hz float64) float64 { return kept(a.parts, hz) }

// chain is the line as it is then. Of channel i, whose line a mark at the antenna
// told of, the installed part is what that said; -1 is none.
func (a *after) chain(draw int, hz float64, i int) (gain, factor, signal float64) {
	gain, factor, signal = chain(a.head, hz, draw)
	if !a.change.Without {
		g, f := a.installed(draw, hz)
		if i >= 0 {
			s := &a.slices[draw][i]
			g, f = s.gain, s.line+1
		}
		factor += (f - 1) / gain
		gain *= g
	}
	g, f, s := chain(a.tail, hz, draw)
	factor += (f - 1) / gain
	return gain * g, factor, signal * s
}

// at is a channel behind the change, in one draw.
func (a *after) at(draw, i int) state {
	c := &a.Channels[i]
	hz := c.Channel.CenterHz()
	was := &a.slices[draw][i]
	gain, factor, signal := a.chain(draw, hz, i)
	rise := decibel.Of(gain * signal / was.gain)
	less := a.newLess(draw, i, rise)
	fr := factorAt(was.top, was.back, less)
	x := state{
		outside: was.outside, line: factor - 1, receiver: (fr - 1) / gain,
		gain: gain, signal: was.signal * signal, under: was.under * signal,
	}
	if c.Noise == nil {
		return x
	}
	// The receiver's own products, from its input back to the antenna. What they do
	// when levels move is off by some dB: intercepts go with the gain but nearly, and
	// narrow products cost less than they have power.
	const straysDB = 2
	stray := decibel.Power(straysDB * sigmas(draw, slotChannels+3*i+1))
	second, third := a.intercepts(draw)
	u := a.units[i]
	x.second = u.second / second * decibel.Power(-less) * was.clip * stray * was.scale / gain
	x.third = u.third / (third * third) * decibel.Power(-2*less) * was.clip * stray * was.scale / gain
	a.addAmplifiers(&x, was, draw, i)
	return x
}

// addAmplifiers adds what amplifiers in the line make of strong signals.
func (a *after) addAmplifiers(x, was *state, draw, i int) {
	hz := a.Channels[i].Channel.CenterHz()
	for n, k := range a.amplifiers {
		amplifier := &a.parts[k]
		gain, _ := amplifier.stage(hz, draw)
		output := amplifier.Output.at(share(draw, slotParts+amplifier.slot+3))
		// In units of k·290 K·6 MHz, as x; units of full scale become those by scale.
		input := decibel.Power(output-ThermalDBm) / gain
		before, _, _ := chain(a.parts[:k], hz, draw)
		u := a.amplified[n][i].third
		x.third += u * math.Pow(was.scale, 3) / (input * input) / before
	}
}

// newLess is by how many dB the receiver's gain is below its highest once the level
// at its input has risen. A radio that chooses its gain goes down in steps of some
// 6 dB when it has no room left, and up again when it has.
func (a *after) newLess(draw, i int, riseDB float64) float64 {
	const stepDB, fullDBFS, slice = 6, -7.8, 0.4 // of a channel's power in one slice
	c := &a.Channels[i]
	less := a.lessDB(c)
	if a.Fixed || c.GainDB == nil || c.Power == nil || math.IsNaN(a.TopGainDB) {
		return less
	}
	room := stepDB * share(draw, slotChannels+3*i+1)
	if less < 1 {
		room = math.Max(0, fullDBFS-c.Power.Value-decibel.Of(slice))
	}
	steps := math.Ceil((riseDB - room) / stepDB)
	return math.Max(0, less+stepDB*steps)
}
