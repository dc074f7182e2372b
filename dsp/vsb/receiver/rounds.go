package receiver

import (
	"math"

	"rooftone/dsp/vsb"
)

// phaseGain is that of the loop that follows the carrier's phase by the first round's
// symbols, whose time constant is 1/phaseGain symbols; driftGain the same for its
// change.
const (
	phaseGain = 0.006
	driftGain = phaseGain * phaseGain / 40
)

// equalise makes the first round's soft symbols of what was received. The phase
// follows what each symbol and those before say of its level.
func (e *engine) equalise(w *scratch) {
	s := &e.stages[0]
	s.soft = e.linear[e.origin:][:blockSymbols]
	_ = w.fft.Transform(w.work, e.received[e.origin-firstBehind:e.origin-firstBehind+blockSize])
	multiply(w.work, w.work, e.first.spectrum)
	_ = w.fft.Inverse(w.work, w.work)
	out := w.work[firstBehind:][:blockSymbols]
	pilot := e.first.constant * vsb.PilotLevel
	var sync float32
	s.believer.next(e.segment)
	s.believer.hear(s.noises[:])
	table := s.believer.table[pieces]
	p := e.begin()
	for g := range blockSegments {
		if (e.segment+g)%vsb.FieldSegments == 0 {
			e.fieldSyncPhase(&p, out, g*vsb.SegmentSymbols, pilot)
		} else {
			sync += e.segmentPhase(&p, out, g, table, pilot)
		}
	}
	e.end(&p)
	mean := float64(sync) / blockSegments / vsb.SegmentSyncSymbols
	e.syncError += (mean - e.syncError) / 8
}

// segmentPhase makes the soft symbols of data segment g. It returns the squared error
// of its sync symbols.
func (e *engine) segmentPhase(p *phaser, out []complex64, g int, table *[beliefCount]belief, pilot float32) (sync float32) {
	at := g * vsb.SegmentSymbols
	e.turnOnly(p, out, at, vsb.SegmentSyncSymbols, pilot)
	var lean float32
	soft, quadrature := e.linear[e.origin+at:], e.quadrature[e.origin+at:]
	for k := range vsb.SegmentSyncSymbols {
		err := soft[k] - segmentSync(k)
		sync += err * err
		lean += err * quadrature[k]
	}
	e.follows(p, at, vsb.SegmentSyncSymbols, lean)
	b := e.stages[0].believer
	states := turned(&b.states, b.codes[g+1])
	base := (g + 1) * kept
	for k := 0; k < kept; k += coders {
		cos, sin := p.at()
		place := vsb.SegmentSyncSymbols + k
		lean := b.glance(&states, base+k, table, out[at+place:], soft[place:], quadrature[place:], turning{cos, sin, pilot})
		e.follows(p, at+place, coders, lean)
	}
	b.states = turned(&states, (coders-b.codes[g+1])%coders)
	copy(b.soft[base:], soft[vsb.SegmentSyncSymbols:][:kept])
	return sync
}

// fieldSyncPhase does the same for a field sync.
func (e *engine) fieldSyncPhase(p *phaser, out []complex64, at int, pilot float32) {
	const step = 2 * phaseSymbols
	soft, quadrature := e.linear[e.origin+at:], e.quadrature[e.origin+at:]
	for i := 0; i < vsb.SegmentSymbols; i += step {
		e.turnOnly(p, out, at+i, step, pilot)
		var lean float32
		for k := i; k < i+step; k++ {
			if level, known := e.fieldSync(k, soft[k], e.stages[0].odd); known {
				lean += (soft[k] - level) * quadrature[k]
			}
		}
		e.follows(p, at+i, step, lean)
	}
}

// turnOnly makes soft symbols of count symbols from at on, by the phase as it is.
func (e *engine) turnOnly(p *phaser, out []complex64, at, count int, pilot float32) {
	cos, sin := p.at()
	soft, quadrature := e.linear[e.origin+at:], e.quadrature[e.origin+at:]
	for k, v := range out[at : at+count] {
		v = turnedBy(v, complex(cos, sin))
		soft[k], quadrature[k] = real(v)-pilot, imag(v)
	}
}

// segmentSync returns the level of a segment's first symbols.
func segmentSync(i int) float32 {
	if i == 0 || i == 3 {
		return vsb.SyncLevel
	}
	return -vsb.SyncLevel
}

// fieldSync returns the level of a field sync's symbol, and whether that is known. A
// level that is not known is the one nearest to the soft symbol.
func (e *engine) fieldSync(i int, soft float32, odd bool) (level float32, known bool) {
	symbols := e.syncs[0]
	if odd {
		symbols = e.syncs[1]
	}
	switch {
	case i < len(symbols):
		return symbols[i], true
	case i < precodeStart && soft < 0:
		return -vsb.SyncLevel, false
	case i < precodeStart:
		return vsb.SyncLevel, false
	}
	return nearest(soft), false
}

// precodeStart is where a field sync's last symbols begin, which repeat the last of
// the data segment before.
const precodeStart = vsb.SegmentSymbols - 12

// nearest returns the data level that is nearest.
func nearest(v float32) float32 {
	return float32(2*math.Round(min(max(float64(v), -7), 7)/2-0.5) + 1)
}

// phaseSymbols is the greatest number that the counts of symbols turned by the same
// phase are multiples of.
const phaseSymbols = 4

// phaser is what turns equalised symbols.
type phaser struct {
	cos, sin float32 // of phase less since
	since    float32
	phase    float32
	drift    float32
}

func (e *engine) begin() phaser {
	p := phaser{phase: e.phase, drift: e.drift}
	p.renew()
	return p
}

// renew takes the phase as it is now for the one that at begins with.
func (p *phaser) renew() {
	sin, cos := math.Sincos(float64(p.phase))
	p.cos, p.sin, p.since = float32(cos), float32(sin), 0
}

// end notes by which phase each run of a block was turned in its middle.
func (e *engine) end(p *phaser) {
	const each = runSymbols / phaseSymbols
	for i := range blockSymbols / runSymbols {
		sin, cos := math.Sincos(float64(e.phases[i*each+each/2]))
		e.turns[e.origin/runSymbols+i] = complex(float32(cos), float32(sin))
	}
	e.phase, e.drift = float32(math.Remainder(float64(p.phase), 2*math.Pi)), p.drift
}

// at returns the phase's cosine and sine.
func (p *phaser) at() (cos, sin float32) {
	const most = 0.1
	if p.since > most || p.since < -most {
		p.renew()
	}
	x := p.since
	c, s := 1-x*x/2, x-x*x*x/6
	return p.cos*c - p.sin*s, p.sin*c + p.cos*s
}

// follows moves the phase by what the errors of count symbols from at on, times their
// imaginary parts, say.
func (e *engine) follows(p *phaser, at, count int, lean float32) {
	for i := at / phaseSymbols; i < (at+count)/phaseSymbols; i++ {
		e.phases[i] = p.phase
	}
	most := float32(count) / 2
	x := min(max(lean*(1/float32(vsb.LevelMeanSquare)), -most), most)
	step := phaseGain*x + p.drift*float32(count)
	p.phase += step
	p.since += step
	p.drift += driftGain * x
}

// passFieldSyncs notes the field syncs that went by in each round's block.
func (e *engine) passFieldSyncs() {
	for round := range e.stages {
		index := (e.segment - delay(round)/vsb.SegmentSymbols + vsb.FieldSegments) % vsb.FieldSegments
		if index == 0 || index+blockSegments > vsb.FieldSegments {
			e.stages[round].odd = !e.stages[round].odd
		}
	}
}

// believe estimates the levels of a round's soft symbols.
func (e *engine) believe(round int) {
	s := &e.stages[round]
	index := (e.segment - delay(round)/vsb.SegmentSymbols + vsb.FieldSegments) % vsb.FieldSegments
	at := e.origin - delay(round)
	say := s.told.from(at - errorDelay)
	var error, count float32
	for g := range blockSegments {
		levels := s.told.levels[at+g*vsb.SegmentSymbols:][:vsb.SegmentSymbols]
		settled := s.told.settled[at+g*vsb.SegmentSymbols:][:vsb.SegmentSymbols]
		if (index+g)%vsb.FieldSegments != 0 {
			for k := range vsb.SegmentSyncSymbols {
				levels[k] = segmentSync(k) + vsb.PilotLevel
				settled[k] = levels[k]
				d := s.soft[g*vsb.SegmentSymbols+k] - segmentSync(k)
				error += d * d
			}
			count += vsb.SegmentSyncSymbols
			continue
		}
		for k := range levels {
			level, _ := e.fieldSync(k, s.soft[g*vsb.SegmentSymbols+k], s.odd)
			levels[k] = level + vsb.PilotLevel
			settled[k] = levels[k]
		}
	}
	// The syncs, which need not be believed, show the noise as it is.
	if count > 0 && e.blocks*blockSymbols >= int64(delay(round)) {
		s.noise += (float64(error/count) - s.noise) * learning / 2
	}
	if round == 0 {
		s.believer.back(say)
		return
	}
	s.believer.block(say, s.soft, s.noises[:], index)
}

// window is where the transform of a round's levels begins, and where in it the
// errors do.
const errorsAt = tapsBehind - 1

// subtract takes what the channel makes of a round's levels out of what was received.
// The errors begin errorDelay before the round's block.
func (e *engine) subtract(w *scratch, round int) {
	first := e.origin - delay(round) - errorDelay
	e.pass(w, e.stages[round].told.levels, first)
	errors := e.errors[round][first:][:blockSymbols]
	subtractRuns(errors, e.received[first:], w.work[errorsAt:], e.turns[first/runSymbols:], w.lean[2:2+blockSymbols/runSymbols], w.strength[2:2+blockSymbols/runSymbols])
	clear(errors[:e.unknown(first)])
	e.straighten(w, first)
}

// pass passes levels through the channel: what comes out from first on begins at
// errorsAt in work. It leaves the transform of the levels in sent.
func (e *engine) pass(w *scratch, levels []float32, first int) {
	window := levels[first-errorsAt : first+blockSymbols+tapsAhead]
	widen(w.sent, window)
	clear(w.sent[len(window):])
	_ = w.fft.Transform(w.sent, w.sent)
	multiply(w.work, w.sent, e.channel)
	_ = w.fft.Inverse(w.work, w.work)
}

// unknown returns how many of a block's errors from first on are from before the start,
// when nobody knows what was sent.
func (e *engine) unknown(first int) int {
	return int(min(max(int64(e.origin-first)-e.blocks*blockSymbols, 0), blockSymbols))
}

// straighten turns the runs by what the last errors leave of the phase, each with its
// neighbours, for the next round.
func (e *engine) straighten(w *scratch, first int) {
	const count = blockSymbols / runSymbols
	turns := e.turns[first/runSymbols:][:count]
	// With weights of 1 2 3 2 1, and nothing beyond the ends.
	lean, strength := w.lean[:], w.strength[:]
	near := func(x []float32, i int) float32 {
		sum := 3 * x[i+2]
		return sum + 2*(x[i+1]+x[i+3]) + (x[i] + x[i+4])
	}
	for i := range turns {
		along, power := near(lean, i), near(strength, i)
		if !(power > 0) {
			continue
		}
		x := min(max(along/power, -0.3), 0.3)
		c, s := 1-x*x/2, -x
		t := turns[i]
		turns[i] = complex(real(t)*c-imag(t)*s, real(t)*s+imag(t)*c)
	}
}

// cancel makes soft symbols of a round's levels and errors, from first on, and says how
// much noise each piece of them has.
func (e *engine) cancel(w *scratch, round int, soft, noises []float32, first int) {
	t := e.stages[round].told
	_ = w.fft.Transform(w.work, e.errors[round][first-laterBehind:][:blockSize])
	used := e.bank.mixed(&w.mixtures, noises, t.variances[first/vsb.SegmentSymbols*pieces-1:])
	levels := t.levels[first:][:blockSymbols]
	for pair, p := range e.bank.pairs {
		if !used[pair] {
			continue
		}
		fold(w.made, w.work, p.there, p.back)
		_ = w.fft.Inverse(w.made, w.made)
		made := w.made[laterBehind:][:blockSymbols]
		for i, m := range w.mixtures {
			if m.pair == pair {
				from, to := pieceWithSync(i)
				mix(soft[from:to], levels[from:to], made[from:to], m.first, m.second)
			}
		}
	}
}

// pieceWithSync returns where a block's piece begins and ends. A segment's sync belongs
// to the first of its pieces.
func pieceWithSync(n int) (from, to int) {
	from, to = piece(n % pieces)
	if n%pieces != 0 {
		from += vsb.SegmentSyncSymbols
	}
	at := n / pieces * vsb.SegmentSymbols
	return at + from, at + to + vsb.SegmentSyncSymbols
}

// finish makes the engine's soft symbols of the last round's levels. However many
// rounds are left out, they are as late.
func (e *engine) finish() {
	first := e.origin - outputDelay
	if e.light || e.warm > 0 {
		copy(e.soft, e.linear[first:])
	} else {
		e.cancel(e.rear, e.active-1, e.soft, e.noises[:], first)
	}
	var error, count float32
	for g := range blockSegments {
		place := e.blocks*blockSegments + int64(g) - outputDelay/vsb.SegmentSymbols
		if place < 0 || place%vsb.FieldSegments == 0 {
			continue
		}
		for k := range vsb.SegmentSyncSymbols {
			d := e.soft[g*vsb.SegmentSymbols+k] - segmentSync(k)
			error += d * d
			count++
		}
	}
	if count > 0 {
		e.remaining += (float64(error/count) - e.remaining) * learning / 5
	}
	if !e.light && e.warm == 0 {
		e.compare(e.soft, first)
	}
}

// compare notes how far soft symbols from first on are from what is settled of them.
func (e *engine) compare(soft []float32, first int) {
	var power float32
	settled := e.stages[e.active-1].told.settled[first:][:blockSymbols]
	for i, v := range soft {
		d := v - settled[i] + vsb.PilotLevel
		power += d * d
	}
	e.errorPower += (float64(power)/blockSymbols - e.errorPower) / float64(min(8, max(1, e.blocks)))
}
