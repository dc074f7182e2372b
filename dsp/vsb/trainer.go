package vsb

import (
	"fmt"
	"math"

	"rooftone/dsp/render"
)

// foundChance is the chance of a false alarm below which training counts as
// found.
const foundChance = 2e-4

// firstSNR is the ratio of data to noise that the first pass of a fit
// supposes.
const firstSNR = 100

// Trainer fits the training of field syncs in stays of one sample rate, on one
// slice of a channel. It is used by one goroutine at a time.
//
// # What is estimated
//
// Every 24.2 ms a station sends KnownSymbols symbols that a receiver knows.
// Cut the slice's usable band out, to a width W, and look at it every 1/W: in
// white noise of the density N each of the n points (67.6 µs·W and a few; 142
// for 2.02 MHz) of field f is
//
//	y_f = exp(jφ_f)·A·h + u_f + v_f.
//
// The columns of A are the known symbols' signal at delays half a point apart,
// h are the channel's taps there, v is white with variance N, for the filter is
// a root of a Nyquist filter and the points are scaled to it. u is what the
// unknown symbols before and behind the training leak in: through the
// channel's echoes, and through the filter, which rings for as long as its
// edge is steep. Taken for what it is, this leak is noise 25 dB below the
// signal and no MER above that can be read. But its covariance is known as
// soon as h is,
//
//	L = 21·Σ p_k·p_kᴴ, k < 0 and k ≥ KnownSymbols,
//
// where p_k is the channel's answer to symbol k. Most of L lies in few
// dimensions. So h comes from generalised least squares with C = N·I + L,
// which does without these and keeps the rest. The pilot and what the radio
// adds in the middle of the slice are lines, put into C with no bound on their
// power. What folds into the band's ends from beyond half the rate is noise there
// with a level and slope of its own, found from the residual in every pass
// (Folded). The kind of a field, odd or even, chooses one of two A.
//
// The taps are chosen one by one, each the one that explains most of what is
// left, while that is more than noise explains. So few are spent: one or two
// on a clean path, three to five on an echo at high SNR. With C⁻¹r for the
// residual r whitened twice, N is then the solution of
//
//	Σ|C⁻¹r_f|² = tr P,  P = C⁻¹ − C⁻¹A(AᴴC⁻¹A)⁻¹AᴴC⁻¹ over all fields,
//
// the restricted maximum-likelihood estimate, which counts the dimensions that
// taps and leak have used up. C needs h and N: a few passes settle all. The
// carrier's and the clock's errors, which turn and shift the fields against
// each other, take a Gauss–Newton step in every pass.
//
// # How well
//
// With d = N·tr P, which is at most nF for F fields, the noise is known to
// 1/√d: 0.26 dB for two fields of a 2.4 MS/s slice, 0.13 dB for eight. The data
// power, the mean of |h|² over the band less what noise adds to it, is known to
// √(2N/(S·nF)) of itself when one tap does, S being the data's density: less
// than the noise's uncertainty above an SNR of 3 dB. Both go into MERSigmaDB.
// Simulated, noise, gain, carrier and clock scatter by 1 to 1.2 times their
// Cramér–Rao bounds, and MER without bias to 60 dB, where floats, not the leak,
// begin to limit it.
//
// The search goes far below the decoding threshold: the correlation of one
// field stands SNR·n above the noise's, and several add up.
//
// # Where it breaks
//
// A channel that changes within the stay, other than by a phase for each field,
// leaves an error of the size of the change. Echoes outside EarliestEchoSeconds
// to LatestEchoSeconds are noise, as they are to an equaliser of that length.
// So is what the taps cannot see, because it explains no more than noise does:
// some 9 dimensions' worth for an echo that is overlooked, 3 for the rest of
// one that is not. Interference is taken as white over the band. The radio's
// own pass band is part of the response unless Knowledge has it, and what its
// converter adds is noise: 8 bits, filled to 12 dB below the rails, cost 0.2 dB
// at 25 dB. Every field's phase is fitted, which below some −8 dB fits noise:
// MER reads some 0.3 dB high at −10 dB.
//
// A stay takes some 30 bytes a sample while it is fitted. More than a second
// of it tells little more.
type Trainer struct {
	layout  *layout
	search  *search
	window  *window
	leak    *leak
	folding *folding
	first   triangle // the covariance's factor for a flat channel at firstSNR

	matrix  triangle
	pursuit pursuit
	fields  []fieldSync
	spins   [][]complex128 // of the carriers that refine tries
	between *render.Interpolator
	work    []complex128
	free    float64 // dimensions that the noise rests on
	scale   float64 // the noise, in units of what the covariance was made with
}

// fieldSync is one field sync of a stay.
type fieldSync struct {
	parity int // 0 for odd fields
	order  int // fields after the stay's first
	phase  float64
	points []complex128
	white  []complex128 // L⁻¹·points
}

// NewTrainer returns a Trainer for slices of the given sample rate, from 1 to
// 100 MHz, whose centre is offsetHz above the channel's lower edge. The inner
// ±0.41 of the rate is used, and must hold 400 kHz of the channel.
func NewTrainer(rateHz, offsetHz float64) (*Trainer, error) {
	if !(rateHz >= 1e6 && rateHz <= 1e8) {
		return nil, fmt.Errorf("fitting 8-VSB: a sample rate of %g Hz is not between 1 and 100 MHz", rateHz)
	}
	t, err := newTrainer(rateHz, offsetHz)
	if err != nil {
		return nil, fmt.Errorf("fitting 8-VSB: %w", err)
	}
	return t, nil
}

func newTrainer(rateHz, offsetHz float64) (*Trainer, error) {
	g, err := newLayout(rateHz, offsetHz)
	if err != nil {
		return nil, err
	}
	n := g.points
	t := &Trainer{
		layout:  g,
		leak:    newLeak(g),
		folding: newFolding(g),
		matrix:  newTriangle(n),
		pursuit: pursuit{layout: g},
		spins:   refineSpins(g),
		between: render.NewInterpolator(),
		work:    make([]complex128, n),
	}
	if t.search, err = newSearch(g); err != nil {
		return nil, err
	}
	if t.window, err = newWindow(g); err != nil {
		return nil, err
	}
	t.first = newTriangle(n)
	t.leak.add(t.first, []tap{{0, 1}})
	t.addNoise(t.first, flatDensity/firstSNR, 0)
	return t, t.first.factor()
}

// Fit finds the training in the samples of one stay and fits it. That it finds
// none, or too little of it for a fit, is no error. The samples are those of
// one run; where some are missing of which nobody told, that is found by the training
// itself, and each part counts from its own place (gaps).
func (t *Trainer) Fit(x []complex64, know Knowledge) (*Training, error) {
	out, err := t.fit(x, know)
	if err != nil {
		return nil, fmt.Errorf("fitting 8-VSB: %w", err)
	}
	return out, nil
}

func (t *Trainer) fit(x []complex64, know Knowledge) (*Training, error) {
	if err := know.check(t.layout.rateHz); err != nil {
		return nil, err
	}
	s, err := t.search.find(x, know)
	if err != nil {
		return nil, err
	}
	out := &Training{FalseAlarm: 1, MERdB: math.NaN()}
	if s == nil {
		return out, nil
	}
	out.FalseAlarm = math.Exp(s.logChance)
	out.Seen = s.fields
	if out.Found = out.FalseAlarm <= foundChance; !out.Found {
		return out, nil
	}
	t.window.setPassBand(know.PassBand)
	if err := t.collect(x, s); err != nil {
		return nil, err
	}
	if out.Fields = len(t.fields); out.Fields > 0 {
		if err := t.refine(x, s, know); err != nil {
			return nil, err
		}
		if len(s.gaps.at) > 0 {
			low, high := know.clockRange(s.carrierHz, gapCarrierHz)
			s.gaps.settle(s, t.layout, low, high)
			if err := t.collect(x, s); err != nil {
				return nil, err
			}
		}
		if err := t.anchor(x, s, know); err != nil {
			return nil, err
		}
		noise, errors, err := t.passes(x, s, know)
		if err != nil {
			return nil, err
		}
		if t.tear(s) {
			if err := t.collect(x, s); err != nil {
				return nil, err
			}
			if out.Fields = len(t.fields); out.Fields == 0 {
				return out, nil
			}
			if noise, errors, err = t.passes(x, s, know); err != nil {
				return nil, err
			}
		}
		t.judge(out, noise)
		for _, f := range t.fields {
			out.StartSeconds = append(out.StartSeconds, t.start(s, f.order)/t.layout.rateHz)
		}
		out.CarrierSigmaHz, out.ClockSigmaPPM = errors.carrierHz, errors.clock*1e6
	}
	out.FirstSeconds = s.first / t.layout.rateHz
	out.FirstOdd = s.odd
	out.CarrierHz, out.ClockPPM = s.carrierHz, s.clock*1e6
	return out, nil
}

// start is the place of a field sync's first peak in the stay, in samples.
func (t *Trainer) start(s *sighting, order int) float64 {
	return s.first + float64(order)*FieldSymbols/SymbolRateHz*t.layout.rateHz*(1+s.clock) + s.gaps.before(order)
}

// collect cuts the field syncs out of the stay.
func (t *Trainer) collect(x []complex64, s *sighting) error {
	count := 0
	for order := -1; t.start(s, order) < float64(len(x)); order++ {
		start := t.start(s, order)
		if !t.window.holds(len(x), start) || s.gaps.breaks(order) {
			continue
		}
		if count == cap(t.fields) {
			t.fields = append(t.fields[:count], fieldSync{})
		}
		t.fields = t.fields[:count+1]
		f := &t.fields[count]
		count++
		f.points, f.white = grow(f.points, t.layout.points), grow(f.white, t.layout.points)
		f.order, f.parity = order, 0
		if s.odd != (order%2 == 0) {
			f.parity = 1
		}
		if err := t.window.cut(f.points, x, start, s.carrierHz, s.clock); err != nil {
			return err
		}
	}
	t.fields = t.fields[:count]
	return nil
}

// The carriers and delays that refine tries.
const (
	refineCarriers = 41
	refineReachHz  = 5e3
	refineLags     = 4 // half steps either way

	anchorShare = 0.25 // of the strongest path's power, that an anchor must have
	anchorGain  = 0.03 // by how much more it must hold
)

// refineSpins returns exp(−j2πf·u) for the carriers that refine tries.
func refineSpins(g *layout) [][]complex128 {
	out := make([][]complex128, refineCarriers)
	for c := range out {
		out[c] = make([]complex128, g.points)
		hz := (float64(c)/(refineCarriers-1)*2 - 1) * refineReachHz
		for i := range out[c] {
			out[c][i] = turn(-hz * g.time(i))
		}
	}
	return out
}

// refine improves place and carrier by the correlation with the training.
func (t *Trainer) refine(x []complex64, s *sighting, know Knowledge) error {
	g := t.layout
	var power [2*refineLags + 1][refineCarriers]float64
	best, bestLag, bestCarrier := -1., 0, 0
	product := t.work
	for lag := range power {
		for _, f := range t.fields {
			g.atom(product, g.known[f.parity], lag-refineLags)
			for i, v := range product {
				product[i] = f.points[i] * complex(real(v), -imag(v))
			}
			for c, spin := range t.spins {
				v := dot(spin, product)
				power[lag][c] += real(v)*real(v) + imag(v)*imag(v)
			}
		}
		for c, v := range power[lag] {
			if v > best {
				best, bestLag, bestCarrier = v, lag, c
			}
		}
	}
	lag, carrier := float64(bestLag), float64(bestCarrier)
	if bestLag > 0 && bestLag < len(power)-1 {
		lag += summit(power[bestLag-1][bestCarrier], best, power[bestLag+1][bestCarrier])
	}
	if bestCarrier > 0 && bestCarrier < refineCarriers-1 {
		carrier += summit(power[bestLag][bestCarrier-1], best, power[bestLag][bestCarrier+1])
	}
	s.carrierHz += (carrier/(refineCarriers-1)*2 - 1) * refineReachHz
	s.first += (lag - refineLags) * g.step / 2 * g.rateHz
	t.holdClock(s, know)
	return t.collect(x, s)
}

// anchor moves the place to another path when the delays that are looked for,
// counted from that, hold more of what the training matches.
func (t *Trainer) anchor(x []complex64, s *sighting, know Knowledge) error {
	g := t.layout
	// By delays from here, from −lastDelay on.
	power := make([]float64, 2*g.lastDelay+1)
	var most, sum float64
	for l := range power {
		for _, f := range t.fields {
			g.atom(t.work, g.known[f.parity], l-g.lastDelay)
			v := inner(t.work, f.points)
			power[l] += real(v)*real(v) + imag(v)*imag(v)
		}
		most = math.Max(most, power[l])
		sum += power[l]
	}
	// What random symbols match by chance is left out.
	floor := 2 * sum / float64(len(power))
	within := func(at int) (sum float64) {
		for _, v := range power[max(0, at+g.firstDelay):min(len(power), at+g.lastDelay+1)] {
			sum += math.Max(0, v-floor)
		}
		return sum
	}
	best := g.lastDelay
	for at, v := range power {
		if v > anchorShare*most && within(at) > (1+anchorGain)*within(best) {
			best = at
		}
	}
	if best == g.lastDelay {
		return nil
	}
	s.first += float64(best-g.lastDelay) * g.step / 2 * g.rateHz
	if err := t.collect(x, s); err != nil {
		return err
	}
	return t.refine(x, s, know)
}

// summit is where, from the middle of three equally spaced values, the parabola
// through them has its summit.
func summit(a, b, c float64) float64 {
	if d := a - 2*b + c; d < 0 {
		return math.Max(-0.5, math.Min(0.5, (a-c)/(2*d)))
	}
	return 0
}
