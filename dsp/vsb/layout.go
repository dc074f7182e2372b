package vsb

import (
	"fmt"
	"math"
	"math/bits"

	"rooftone/dsp/psd"
	"rooftone/dsp/render"
)

// What a training fit covers.
const (
	// usableShare is the part of a slice, on either side of its middle, that
	// the radio's filters leave as it is: beyond it more folds in than 25 dB
	// below what lies outside the slice. What folds in within it is found by each
	// fit for itself (folding), so nothing here hangs on what is known of the radio.
	usableShare = 0.41

	// skirtShare is how much of a skirt, counted from the channel's edge, is
	// left out: the signal is weak there, a neighbour near.
	skirtShare = 0.25

	// narrowest is the narrowest band worth a fit, in hertz.
	narrowest = 400e3

	// leastRollOff and mostRollOff bound the roll-off of the filter that cuts
	// out the band. Its half-power width is the rate of the grid.
	leastRollOff = 0.03
	mostRollOff  = 0.12

	// EarliestEchoSeconds and LatestEchoSeconds bound the delays, relative to
	// the strongest path, that a fit looks for.
	EarliestEchoSeconds = -5e-6
	LatestEchoSeconds   = 20e-6

	leadSteps     = 3   // grid points before the training's first peak and after its last
	tailSymbols   = 300 // how far away a symbol's pulse still matters
	groupsPerStep = 2.4 // unknown symbols may be taken together when so many groups fit into a step

	// delayMargin is how many half steps the tables have beyond the delays
	// that are looked for, to interpolate between.
	delayMargin = render.Taps/2 + 1
)

// layout is how a slice of a channel is looked at: a band cut out of it, a
// grid of times on which white noise stays white, and what the training looks
// like there.
//
// The band is cut out by a root-raised-cosine filter around middleHz, and its
// envelope, as seen from there, taken every step seconds, which is the inverse
// of the half-power width. The step is stepSymbols/perStep symbols: so it and
// the symbols fall on common ticks of 1/(2·perStep) of a symbol, on which all
// tables stand. Point i of the grid is i−leadSteps steps after the peak of the
// training's first symbol.
//
// Samples of the grid are scaled by √step, so that white noise of a density of
// D per hertz has a variance of D in each.
type layout struct {
	rateHz, offsetHz float64

	lowHz, highHz float64 // the filter's band, above the channel's lower edge
	middleHz      float64
	rollOff       float64
	stepSymbols   int // a
	perStep       int // b
	step          float64
	points        int

	// Delays that are looked for are firstDelay…lastDelay half steps.
	firstDelay, lastDelay int

	// known holds the training of odd and of even fields, at half steps:
	// index h+knownAt is h half steps after the first symbol's peak. slope is
	// its derivative, per second. They reach as far before as they do behind.
	known, slope [2][]complex128
	knownAt      int

	// pulse is a single symbol's, at ticks, its peak at pulseAt. It has not
	// got the phase that the symbol's time gives it.
	pulse   []complex128
	pulseAt int
}

func newLayout(rateHz, offsetHz float64) (*layout, error) {
	const (
		skirt = SymbolRateHz / 2 * RollOff
		edge  = PilotOffsetHz - skirt/2 + skirtShare*skirt
	)
	g := &layout{rateHz: rateHz, offsetHz: offsetHz}
	low := math.Max(edge, offsetHz-usableShare*rateHz)
	high := math.Min(ChannelWidthHz-edge, offsetHz+usableShare*rateHz)
	if !(high-low >= narrowest) {
		return nil, fmt.Errorf("the slice has %.0f kHz of the channel, less than the %.0f kHz a fit needs",
			math.Max(0, high-low)/1e3, narrowest/1e3)
	}
	g.middleHz = (low + high) / 2
	g.chooseStep(high - low)
	reach := (1 + g.rollOff) / g.step / 2
	g.lowHz, g.highHz = g.middleHz-reach, g.middleHz+reach
	training := (KnownSymbols - 1) / SymbolRateHz
	g.points = int(math.Ceil(training/g.step)) + 1 + 2*leadSteps
	g.firstDelay = int(math.Floor(EarliestEchoSeconds / (g.step / 2)))
	g.lastDelay = int(math.Ceil(LatestEchoSeconds / (g.step / 2)))
	return g, g.tabulate()
}

// chooseStep takes the shortest step that the band's width allows.
func (g *layout) chooseStep(widthHz float64) {
	least := SymbolRateHz * (1 + leastRollOff) / widthHz // in symbols
	best := math.Inf(1)
	for b := 1; b <= 3; b++ {
		if a := math.Ceil(least * float64(b)); a/float64(b) < best-1e-9 {
			best, g.stepSymbols, g.perStep = a/float64(b), int(a), b
		}
	}
	g.step = best / SymbolRateHz
	g.rollOff = math.Min(mostRollOff, widthHz*g.step-1)
}

// tickSeconds is the distance of ticks.
func (g *layout) tickSeconds() float64 { return 1 / SymbolRateHz / float64(2*g.perStep) }

// filter is the band filter's amplitude at a distance from middleHz.
func (g *layout) filter(hz float64) float64 {
	half := 0.5 / g.step
	switch x := (math.Abs(hz) - half*(1-g.rollOff)) / (2 * half * g.rollOff); {
	case x <= 0:
		return 1
	case x < 1:
		return math.Cos(math.Pi / 2 * x)
	}
	return 0
}

// tabulate fills the tables.
func (g *layout) tabulate() error {
	a, b := g.stepSymbols, g.perStep
	// The pulse is needed from every symbol that matters to every point.
	span := 2*a*g.points + 2*b*tailSymbols + a*(max(-g.firstDelay, g.lastDelay)+delayMargin) + 4*a
	size := 1 << bits.Len(uint(2*span))
	fft, err := psd.NewFFT(size)
	if err != nil {
		return err
	}
	tick := g.tickSeconds()
	bin := 1 / (tick * float64(size))
	spectrum, tilted := make([]complex64, size), make([]complex64, size)
	for k := -size / 2; k < size/2; k++ {
		hz := float64(k) * bin
		v := response(g.middleHz+hz) * g.filter(hz)
		if v == 0 {
			continue
		}
		v *= pulseHeight / SymbolRateHz * bin * math.Sqrt(g.step)
		spectrum[(k+size)%size] = complex64(complex(v, 0))
		tilted[(k+size)%size] = complex64(complex(0, 2*math.Pi*hz*v))
	}
	g.pulse, g.pulseAt = make([]complex128, 2*span+1), span
	falling := make([]complex128, 2*span+1)
	for _, t := range []struct {
		from []complex64
		to   []complex128
	}{{spectrum, g.pulse}, {tilted, falling}} {
		if err := fft.Inverse(t.from, t.from); err != nil {
			return err
		}
		for i := range t.to {
			t.to[i] = complex128(t.from[(i-span+size)%size])
		}
	}
	g.knownAt = 2*leadSteps + g.lastDelay + delayMargin
	count := g.knownAt + 2*(g.points-1-leadSteps) + g.lastDelay + delayMargin + 1
	for parity := range 2 {
		symbols, _ := FieldSync(parity == 0)
		g.known[parity], g.slope[parity] = make([]complex128, count), make([]complex128, count)
		for k := range KnownSymbols {
			turned := turn(-(g.middleHz-PilotOffsetHz)/SymbolRateHz*float64(k)) * complex(float64(symbols[k]), 0)
			for h := range count {
				at := span + (h-g.knownAt)*a - 2*b*k
				if at < 0 || at >= len(g.pulse) {
					continue
				}
				g.known[parity][h] += turned * g.pulse[at]
				g.slope[parity][h] += turned * falling[at]
			}
		}
	}
	return nil
}

// atomAt is the place in known and slope of the grid's first point, for a
// training that comes delay half steps late. The others follow two by two.
func (g *layout) atomAt(delay int) int { return g.knownAt - 2*leadSteps - delay }

// atom writes what a table holds for a delay into dst, of g.points.
func (g *layout) atom(dst, from []complex128, delay int) {
	at := g.atomAt(delay)
	for i := range dst {
		dst[i] = from[at+2*i]
	}
}

// time is the time of point i after the training's first peak.
func (g *layout) time(i int) float64 { return float64(i-leadSteps) * g.step }
