package receiver

import (
	"math"
	"math/cmplx"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
)

const (
	// searchFields is how many fields of samples are looked at for lock: two
	// field syncs must be wholly in them.
	searchFields = 2.02

	// searchHz is how far the pilot may be from its place: 60 ppm at 700 MHz
	// and a little more.
	searchHz = 48e3

	// searchPPM is how far the clock may be off.
	searchPPM = 80

	widerHz = searchHz + 10e3 // of the filter for the search, at either edge
)

// acquirer finds where a field sync is, the carrier and the clock.
type acquirer struct {
	front   *front
	sampler *sampler
	symbols []complex64 // one a symbol, by the nominal clock

	pilotFFT *psd.FFT
	pilotSum []float64
	pilotIn  []complex64

	matchFFT  *psd.FFT
	reference []complex64 // transform of the training, conjugated
	in, out   []complex64
	power     []float32 // of the match, at each symbol
}

// lock is where a field sync begins.
type lock struct {
	at        float64 // of its first symbol on the strongest path, in front outputs
	carrierHz float64
	clock     float64 // how fast the samples' clock is, as a ratio less 1
	odd       bool
}

const (
	pilotDecimation = 64
	pilotSize       = 2048
	matchSize       = 4096
	matchHop        = matchSize - vsb.KnownSymbols + 1
	middleStart     = 4 + 511 + 63 // of the PN63 that is inverted in every other field
	middleEnd       = middleStart + 63
)

func newAcquirer(f *front) (*acquirer, error) {
	a := &acquirer{
		front: f, sampler: newSampler(),
		pilotSum: make([]float64, pilotSize), pilotIn: make([]complex64, pilotSize),
		reference: make([]complex64, matchSize),
		in:        make([]complex64, matchSize), out: make([]complex64, matchSize),
	}
	var err error
	if a.pilotFFT, err = psd.NewFFT(pilotSize); err != nil {
		return nil, err
	}
	if a.matchFFT, err = psd.NewFFT(matchSize); err != nil {
		return nil, err
	}
	for i, v := range training(true) {
		if i < middleStart || i >= middleEnd {
			a.reference[i] = complex(v/vsb.SyncLevel/matchSize, 0)
		}
	}
	if err := a.matchFFT.Transform(a.reference, a.reference); err != nil {
		return nil, err
	}
	for i, v := range a.reference {
		a.reference[i] = complex(real(v), -imag(v))
	}
	return a, nil
}

// training returns the levels that are known of a field sync.
func training(odd bool) []float32 {
	symbols, _ := vsb.FieldSync(odd)
	return append([]float32(nil), symbols[:vsb.KnownSymbols]...)
}

// search looks for field syncs in samples. It uses the front, and leaves it in a
// state that has to be reset.
func (a *acquirer) search(samples []complex64) (lock, bool) {
	a.front.reset(0, widerHz)
	a.sampler.reset()
	step := a.front.outRate() / vsb.SymbolRateHz
	a.sampler.place(0)
	a.sampler.step = step
	pilot := (a.front.middleHz - vsb.ChannelWidthHz/2 + vsb.PilotOffsetHz - a.front.centreHz()) / vsb.SymbolRateHz
	a.sampler.phase, a.sampler.turn = 0, pilot
	if most := int(float64(len(samples))*vsb.SymbolRateHz/a.front.rateHz) + 2*frontSize; cap(a.symbols) < most {
		a.symbols = make([]complex64, 0, most)
	}
	a.symbols = a.symbols[:0]
	for len(samples) > 0 {
		n, out := a.front.write(samples)
		samples = samples[n:]
		a.sampler.write(out)
		for const64 := 64; a.sampler.ready(const64); {
			at := len(a.symbols)
			a.symbols = append(a.symbols, make([]complex64, const64)...)
			a.sampler.fill(a.symbols[at:])
		}
	}
	if len(a.symbols) < vsb.FieldSymbols+2*vsb.SegmentSymbols {
		return lock{}, false
	}
	for _, hz := range a.pilots() {
		if l, ok := a.match(hz, step); ok {
			return l, true
		}
	}
	// The pilot may be in a notch.
	const grid = 8e3
	for hz := 0.; hz <= searchHz; hz += grid {
		for _, hz := range []float64{hz, -hz} {
			if l, ok := a.match(hz, step); ok {
				return l, true
			}
		}
	}
	return lock{}, false
}

// pilots returns the likeliest places of the pilot, in hertz off its nominal one.
func (a *acquirer) pilots() []float64 {
	clear(a.pilotSum)
	const span = pilotDecimation * pilotSize
	for at := 0; at+span <= len(a.symbols); at += span / 2 {
		for i := range a.pilotIn {
			var re, im float32
			for _, v := range a.symbols[at+i*pilotDecimation : at+(i+1)*pilotDecimation] {
				re += real(v)
				im += imag(v)
			}
			w := float32(0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/pilotSize))
			a.pilotIn[i] = complex(re*w, im*w)
		}
		_ = a.pilotFFT.Transform(a.pilotIn, a.pilotIn)
		for i, v := range a.pilotIn {
			a.pilotSum[i] += float64(real(v)*real(v) + imag(v)*imag(v))
		}
	}
	bin := vsb.SymbolRateHz / pilotDecimation / pilotSize
	reach := int(searchHz / bin)
	sum := func(k int) float64 { return a.pilotSum[k&(pilotSize-1)] }
	var found []float64
	for range 3 {
		best, at := 0., 0
		for k := -reach; k <= reach; k++ {
			if s := sum(k); s > best {
				best, at = s, k
			}
		}
		// Between the bins, by a parabola through the logarithms.
		l, m, h := math.Log(sum(at-1)+1e-30), math.Log(sum(at)+1e-30), math.Log(sum(at+1)+1e-30)
		off := 0.
		if bend := l - 2*m + h; bend < 0 {
			off = max(-0.5, min(0.5, (l-h)/2/bend))
		}
		found = append(found, (float64(at)+off)*bin)
		for k := at - 4; k <= at+4; k++ {
			a.pilotSum[k&(pilotSize-1)] = 0
		}
	}
	return found
}

// match looks for field syncs by their training, for a pilot that is off by hz.
func (a *acquirer) match(hz, step float64) (lock, bool) {
	count := len(a.symbols) - vsb.KnownSymbols
	if cap(a.power) < count {
		a.power = make([]float32, count)
	}
	a.power = a.power[:count]
	turn := hz / vsb.SymbolRateHz
	var mean float64
	for at := 0; at < count; at += matchHop {
		a.correlate(at, turn)
		for i := 0; i < matchHop && at+i < count; i++ {
			v := a.out[i]
			p := real(v)*real(v) + imag(v)*imag(v)
			a.power[at+i] = p
			mean += float64(p)
		}
	}
	mean /= float64(count)
	const slack = vsb.FieldSymbols * searchPPM / 1000000
	first, second, best := 0, 0, float32(0)
	for k := range min(vsb.FieldSymbols+slack, count) {
		if a.power[k] < best/2 || k+vsb.FieldSymbols-slack >= count {
			continue
		}
		for m := k + vsb.FieldSymbols - slack; m <= k+vsb.FieldSymbols+slack && m < count; m++ {
			if p := a.power[k] + a.power[m]; p > best {
				first, second, best = k, m, p
			}
		}
	}
	const least = 24 // times the mean, together; noise's largest of 5·10⁵ is some 13 each
	if !(float64(best) > 2*least*mean && float64(min(a.power[first], a.power[second])) > 0.2*float64(best)) {
		return lock{}, false
	}
	apart := float64(second-first) + a.between(first, second, turn)
	l := lock{carrierHz: hz, clock: apart/vsb.FieldSymbols - 1}
	l.at = float64(first) * step
	l.carrierHz += a.refine(first, turn)
	// The middle PN63 against the others.
	symbols := training(true)
	var all, middle complex128
	for i, v := range symbols {
		z := complex128(a.symbols[first+i]) * cmplx.Rect(float64(v), -2*math.Pi*turn*float64(i))
		if i >= middleStart && i < middleEnd {
			middle += z
		} else {
			all += z
		}
	}
	l.odd = real(middle*cmplx.Conj(all)) > 0
	return l, true
}

// correlate fills out with the training's match at the symbols from at on.
func (a *acquirer) correlate(at int, turn float64) {
	n := copy(a.in, a.symbols[at:])
	clear(a.in[n:])
	spin(a.in[:n], -turn*float64(at), -turn)
	_ = a.matchFFT.Transform(a.out, a.in)
	for i, v := range a.reference {
		a.out[i] = product(a.out[i], v)
	}
	_ = a.matchFFT.Inverse(a.out, a.out)
}

// between returns by how much of a symbol the second field sync is farther from the
// first than their places say: where their matches, echoes and all, resemble each
// other most.
func (a *acquirer) between(first, second int, turn float64) float64 {
	const before, reach = 64, 256
	at := max(0, first-before)
	skip := first - at
	a.correlate(at, turn)
	one := append([]complex64(nil), a.out[:skip+reach]...)
	at = max(0, second-before)
	a.correlate(at, turn)
	two := a.out[:second-at+reach]
	lag := func(m int) float64 {
		var sum complex128
		for i, v := range one {
			if j := i - skip + second - at + m; j >= 0 && j < len(two) {
				sum += cmplx.Conj(complex128(v)) * complex128(two[j])
			}
		}
		return cmplx.Abs(sum)
	}
	// Where paths are alike each field may have taken another for the strongest.
	const unlike = 2 * vsb.FieldSymbols * searchPPM / 1000000
	best := 0
	for m := -unlike; m <= unlike; m++ {
		if lag(m) > lag(best) {
			best = m
		}
	}
	l, m, h := lag(best-1), lag(best), lag(best+1)
	if bend := l - 2*m + h; bend < 0 {
		return float64(best) + max(-0.5, min(0.5, (l-h)/2/bend))
	}
	return float64(best)
}

// refine returns by how much the carrier is higher still, from how the match's
// phase moves from the training's first half to its second.
func (a *acquirer) refine(at int, turn float64) float64 {
	const half = vsb.KnownSymbols / 2
	var sums [2]complex128
	for i, v := range training(true) {
		if i < middleStart {
			sums[i/half] += complex128(a.symbols[at+i]) * cmplx.Rect(float64(v), -2*math.Pi*turn*float64(i))
		}
	}
	off := cmplx.Phase(sums[1]*cmplx.Conj(sums[0])) / (2 * math.Pi) / (middleStart / 2.) * vsb.SymbolRateHz
	if math.Abs(off) < 1.5e3 {
		return 0 // the pilot is known better than that
	}
	return off
}

// spin multiplies x by a phasor that begins at a phase and turns by so much from one
// to the next, both in cycles.
func spin(x []complex64, phase, turn float64) {
	const cut = 256
	for len(x) > 0 {
		n := min(cut, len(x))
		at := complex64(cmplx.Rect(1, 2*math.Pi*math.Mod(phase, 1)))
		step := complex64(cmplx.Rect(1, 2*math.Pi*turn))
		for i, v := range x[:n] {
			x[i] = product(v, at)
			at = product(at, step)
		}
		phase += float64(n) * turn
		x = x[n:]
	}
}

// product is a·b, without the care that Go's own takes of infinities.
func product(a, b complex64) complex64 {
	return complex(real(a)*real(b)-imag(a)*imag(b), real(a)*imag(b)+imag(a)*real(b))
}
