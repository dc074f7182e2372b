package sim

import (
	"math"
	"slices"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
)

const (
	// faintestProduct is the level at the antenna terminals, in dBm over all
	// of a product, below which it is left out.
	faintestProduct = -135

	// mostParents is of how many emitters, the strongest, products are made.
	mostParents = 14
)

// stage is one curve that signals go through, with its intercepts in mW at the
// antenna terminals; 0 is none.
type stage struct {
	second, third float64
	compresses    bool // air.Compress does for it what happens within a slice
}

// stages returns the curves in front of the converter at a gain: the
// preamplifier's, which no gain of the radio's changes, and the radio's own,
// which moves with its gain.
func (t *Tuner) stages(centerHz, gainDB float64) []stage {
	intercept := func(dBm *float64, moreDB float64) float64 {
		if dBm == nil {
			return 0
		}
		return milliwatts(*dBm + moreDB)
	}
	before := t.amplifiedDB()
	var out []stage
	if p := t.preamplifier(); p != nil {
		out = append(out, stage{intercept(p.IIP2DBm, 0), intercept(p.IIP3DBm, 0), false})
	}
	r := &t.town.Radio
	less := t.gains[len(t.gains)-1] - t.realGain(gainDB) - before + r.interceptDB(centerHz)
	return append(out, stage{intercept(r.IIP2DBm, less), intercept(r.IIP3DBm, less), true})
}

// parent is one signal that products are made of.
type parent struct {
	hz    float64 // of its middle
	lowHz float64 // of what of it can be in a slice
	upHz  float64
	width float64 // Hz; 0 of a tone
	power float64 // mW

	line   float64 // mW in a line at lineHz; 0 for none
	lineHz float64

	// fm, of a carrier of steady amplitude, adds its modulation around 0 Hz;
	// nil of a tone and of what is like noise.
	fm    func(dst []complex64, start, step float64)
	noisy bool // its amplitude is that of Gaussian noise
	on    func(at float64) bool
}

// parents returns the strongest emitters by their main paths.
func (t *Tuner) parents() []parent {
	var out []parent
	for _, e := range t.emitters {
		switch e := e.(type) {
		case *station:
			p := milliwatts(e.levelDBm())
			out = append(out, parent{
				hz: e.lowerHz + channelWidth/2, lowHz: e.lowerHz, upHz: e.lowerHz + channelWidth,
				width: vsb.SymbolRateHz / 2, power: p, noisy: true,
				line: e.sends.pilotShare() * p, lineHz: e.lowerHz + vsb.PilotOffsetHz,
			})
		case tone:
			if e.own {
				continue
			}
			p := milliwatts(e.LevelDBm)
			out = append(out, parent{hz: e.FrequencyHz, lowHz: e.FrequencyHz, upHz: e.FrequencyHz, power: p, line: p, lineHz: e.FrequencyHz})
		case carrier:
			fm := air.NewFM(e.seed, 1, 0, e.peak, e.highest)
			out = append(out, parent{
				hz: e.FrequencyHz, lowHz: e.FrequencyHz - e.half(), upHz: e.FrequencyHz + e.half(),
				width: 2 * e.half(), power: milliwatts(e.LevelDBm), fm: fm.Add, on: e.keyed(e.seed),
			})
		case block:
			out = append(out, parent{
				hz: e.FrequencyHz, lowHz: e.FrequencyHz - e.WidthHz/2, upHz: e.FrequencyHz + e.WidthHz/2,
				width: e.WidthHz, power: milliwatts(e.LevelDBm), noisy: true, on: e.keyed(e.seed),
			})
		}
	}
	slices.SortStableFunc(out, func(a, b parent) int {
		switch {
		case a.power > b.power:
			return -1
		case a.power < b.power:
			return 1
		}
		return 0
	})
	return out[:min(len(out), mostParents)]
}

// factor is a parent's part in a product: how many times it counts, negative
// where it is mirrored.
type factor struct {
	parent
	times int
}

// product is the emitter of what a curve y = x + a₂x² + a₃x³ makes of strong
// signals, at a sum or difference of their frequencies.
//
// With intercepts for two equal tones, a product of second order has the power
// (2/Πm!)²/4 · ΠP/IIP2 and one of third order (6/Πm!)²/9 · ΠP/IIP3², where m
// is how many times each parent is in it; so P₁²P₂/IIP3² at 2f₁−f₂ and 6 dB
// more at f₁+f₂−f₃. A parent that is like noise has m! times the m-th power of
// its mean power. The product's spectrum is the convolution of the parents',
// each taken as even over its width; of tones and FM carriers it is their
// waveforms' product itself. Lines, such as pilots, make a line of their own.
//
// What a signal makes of itself around its own frequency, and what it does to
// another's modulation, is left out, and so are fading, a tone's drift and
// whatever tuned filter the front end has. The radio's third-order products of
// signals within a slice come from air.Compress.
type product struct {
	factors []factor
	hz      float64
	power   float64 // mW at the antenna terminals
	lineHz  float64
	line    float64 // mW
	widths  []float64
	seed    uint64
}

// products returns the products that matter at a gain and that a slice cannot
// make by itself.
func (t *Tuner) products(s *slice, gainDB float64) []emitter {
	var out []emitter
	var all []parent
	for k, st := range t.stages(s.centerHz, gainDB) {
		if st.second == 0 && st.third == 0 {
			continue
		}
		if all == nil {
			all = t.parents()
		}
		emit := func(f ...factor) {
			if p, ok := newProduct(st, s, f); ok {
				p.seed = air.Seed(uint64(k), math.Float64bits(p.hz), math.Float64bits(p.widths[0]), uint64(len(out)))
				out = append(out, p)
			}
		}
		for i, a := range all {
			emit(factor{a, 2})
			emit(factor{a, 3})
			for j, b := range all {
				if j == i {
					continue
				}
				emit(factor{a, 2}, factor{b, -1})
				emit(factor{a, 2}, factor{b, 1})
				if j < i {
					continue
				}
				emit(factor{a, 1}, factor{b, 1})
				emit(factor{a, 1}, factor{b, -1})
				for _, c := range all[j+1:] {
					emit(factor{a, 1}, factor{b, 1}, factor{c, 1})
					emit(factor{a, 1}, factor{b, 1}, factor{c, -1})
					emit(factor{a, 1}, factor{b, -1}, factor{c, 1})
					emit(factor{a, -1}, factor{b, 1}, factor{c, 1})
				}
			}
		}
	}
	return out
}

// newProduct returns a product of some parents, if it matters.
func newProduct(st stage, s *slice, factors []factor) (product, bool) {
	p := product{factors: factors, power: 1, line: 1}
	order, share, inSlice, sums := 0, 1.0, true, 0
	low, high := s.inner()
	for _, f := range factors {
		m := max(f.times, -f.times)
		order += m
		sums += f.times
		p.hz += float64(f.times) * f.hz
		p.lineHz += float64(f.times) * f.lineHz
		inSlice = inSlice && f.lowHz < high && f.upHz > low
		for k := 1; k <= m; k++ {
			share /= float64(k)
			p.power *= f.power
			p.line *= f.line
			if f.noisy {
				p.power *= float64(k)
			}
			p.widths = append(p.widths, f.width)
		}
	}
	var gain float64
	switch {
	case order == 2 && st.second > 0:
		gain = share * share / st.second
	case order == 3 && st.third > 0:
		if inSlice && sums == 1 && st.compresses {
			return p, false
		}
		gain = 4 * share * share / (st.third * st.third)
	}
	p.power *= gain
	p.line *= gain
	if p.hz < 0 { // the real signal has it at the positive frequency too, mirrored
		p.hz, p.lineHz = -p.hz, -p.lineHz
		p.factors = slices.Clone(factors)
		for i := range p.factors {
			p.factors[i].times = -p.factors[i].times
		}
	}
	p.widths = slices.DeleteFunc(p.widths, func(w float64) bool { return w == 0 })
	reach := p.reach()
	a := s.most(p.hz-reach, p.hz+reach)
	if !(gain > 0) || dBm(p.power*a*a) < faintestProduct || !s.sees(p.hz-reach, p.hz+reach) {
		return p, false
	}
	if len(p.widths) == 0 {
		p.widths = []float64{0}
	}
	return p, true
}

// reach is half of the product's width.
func (p product) reach() float64 {
	var sum float64
	for _, w := range p.widths {
		sum += w / 2
	}
	return sum
}

// density returns the share per Hz of the product's power at a frequency: even
// spectra of the parents' widths, convolved. It is the density of a sum of
// independent even variables.
func (p product) density(hz float64) float64 {
	x := hz - p.hz + p.reach()
	n := len(p.widths)
	var sum float64
	for set := range 1 << n {
		left, sign := x, 1.0
		for i, w := range p.widths {
			if set&(1<<i) != 0 {
				left -= w
				sign = -sign
			}
		}
		if left > 0 {
			sum += sign * math.Pow(left, float64(n-1))
		}
	}
	for i, w := range p.widths {
		sum /= w * float64(max(i, 1))
	}
	return max(sum, 0)
}

func (p product) within(lowHz, highHz float64) float64 {
	if p.widths[0] == 0 {
		return tone{Tone: Tone{FrequencyHz: p.hz, LevelDBm: dBm(p.power)}}.within(lowHz, highHz)
	}
	low, high := max(lowHz, p.hz-p.reach()), min(highHz, p.hz+p.reach())
	if !(high > low) {
		return 0
	}
	steps := math.Ceil((high - low) / 10e3)
	step := (high - low) / steps
	var sum float64
	for k := range int(steps) {
		sum += p.power * p.density(low+(float64(k)+0.5)*step) * step
	}
	return sum
}

func (p product) open(s *slice) (layer, error) {
	steady := true
	for _, f := range p.factors {
		steady = steady && !f.noisy
	}
	if steady {
		return p.carrier(s), nil
	}
	power := p.power * s.scale * s.scale
	shaper, err := air.NewShaper(1024, air.Seed(s.seed, p.seed), s.folded(func(hz float64) float64 {
		return power * p.density(hz)
	}))
	if err != nil {
		return nil, err
	}
	sound := layer(layerFunc(func(dst []complex64, _ float64) error { return shaper.Add(dst) }))
	if p.line > 0 {
		line, err := tone{Tone: Tone{FrequencyHz: p.lineHz, LevelDBm: dBm(p.line)}}.open(s)
		if err != nil {
			return nil, err
		}
		if line != nil {
			noise := sound
			sound = layerFunc(func(dst []complex64, start float64) error {
				if err := line.add(dst, start); err != nil {
					return err
				}
				return noise.add(dst, start)
			})
		}
	}
	return p.keyed(s, sound), nil
}

// carrier returns the layer of a product of signals of steady amplitude: the
// product of their waveforms.
func (p product) carrier(s *slice) layer {
	// What the radio's own filter would cut is left out whole.
	if low, high := s.edges(); p.hz-p.reach() < low || p.hz+p.reach() > high {
		return nil
	}
	step := 1 / s.rateHz
	amplitude := complex(math.Sqrt(p.power)*s.scale*s.passes(p.hz), 0)
	var sum, one []complex64
	return p.keyed(s, layerFunc(func(dst []complex64, start float64) error {
		x := buffer(&sum, len(dst))
		air.Tone{Amplitude: amplitude, Hz: p.hz - s.centerHz}.Add(x, start, step)
		for _, f := range p.factors {
			if f.fm == nil {
				continue
			}
			m := buffer(&one, len(dst))
			f.fm(m, start, step)
			for range max(f.times, -f.times) {
				for k, z := range m {
					if f.times < 0 {
						z = complex(real(z), -imag(z))
					}
					x[k] *= z
				}
			}
		}
		air.AddScaled(dst, x, 1)
		return nil
	}))
}

// keyed lets a product be heard only while all its parents are on.
func (p product) keyed(s *slice, sound layer) layer {
	var keys []func(float64) bool
	for _, f := range p.factors {
		if f.on != nil {
			keys = append(keys, f.on)
		}
	}
	if len(keys) == 0 {
		return sound
	}
	return gated(s, sound, func(at float64) bool {
		for _, on := range keys {
			if !on(at) {
				return false
			}
		}
		return true
	})
}
