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
func (e *engine) equalise() {
	s := &e.stages[0]
	_ = e.fft.Transform(e.work, e.received[e.origin-firstBehind:e.origin-firstBehind+blockSize])
	multiply(e.work, e.work, e.filters[0].spectrum)
	_ = e.fft.Inverse(e.work, e.work)
	out := e.work[firstBehind:][:blockSymbols]
	pilot := e.filters[0].constant * vsb.PilotLevel
	var sync float32
	s.believer.next(e.segment)
	for g := range blockSegments {
		index := (e.segment + g) % vsb.FieldSegments
		for sub := 0; sub < vsb.SegmentSymbols; sub += runSymbols {
			if index == 0 {
				e.runSync(out, g, sub, pilot)
			} else {
				sync += e.runData(out, g, sub, pilot)
			}
		}
	}
	mean := float64(sync) / blockSegments / vsb.SegmentSyncSymbols
	e.syncError += (mean - e.syncError) / 8
}

// turnSymbols is how many symbols are turned by the same phase before the loop moves
// it on.
const turnSymbols = 8

// runData makes runSymbols soft symbols of segment g, a data segment, from sub on. It
// returns the squared error of the sync symbols among them.
func (e *engine) runData(out []complex64, g, sub int, pilot float32) (sync float32) {
	s := &e.stages[0]
	at := g*vsb.SegmentSymbols + sub
	soft, quadrature := s.soft[at:][:runSymbols], e.quadrature[e.origin+at:][:runSymbols]
	out = out[at:][:runSymbols]
	b := s.believer
	place := (g+1)*kept + sub - vsb.SegmentSyncSymbols
	coder := (b.codes[g+1] + sub - vsb.SegmentSyncSymbols + coders) % coders
	p := e.begin()
	for i := 0; i < runSymbols; i += turnSymbols {
		cos, sin := p.at()
		var lean float32
		for k := i; k < i+turnSymbols; k += atOnce {
			if sub+k == 0 {
				for k, v := range out[:vsb.SegmentSyncSymbols] {
					v = turnedBy(v, complex(cos, sin))
					soft[k], quadrature[k] = real(v)-pilot, imag(v)
					err := soft[k] - segmentSync(k)
					sync += err * err
					lean += err * quadrature[k]
				}
			} else {
				lean += b.glance(place+k, coder, out[k:], soft[k:], quadrature[k:], turning{cos, sin, pilot})
			}
			if coder += atOnce; coder == coders {
				coder = 0
			}
		}
		p.follow(lean)
	}
	e.end(&p, e.origin+at)
	return sync
}

// runSync does the same for a field sync.
func (e *engine) runSync(out []complex64, g, sub int, pilot float32) {
	s := &e.stages[0]
	at := g*vsb.SegmentSymbols + sub
	p := e.begin()
	for i := 0; i < runSymbols; i += turnSymbols {
		cos, sin := p.at()
		var lean float32
		for k := i; k < i+turnSymbols; k++ {
			v := out[at+k]
			re := real(v)*cos - imag(v)*sin - pilot
			im := real(v)*sin + imag(v)*cos
			s.soft[at+k], e.quadrature[e.origin+at+k] = re, im
			if level, known := e.fieldSync(sub+k, re, s.odd); known {
				lean += (re - level) * im
			}
		}
		p.follow(lean)
	}
	e.end(&p, e.origin+at)
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

// phaser is what turns a run of equalised symbols.
type phaser struct {
	cos, sin float32 // of the phase at the run's begin
	phase    float32 // since then
	drift    float32
}

func (e *engine) begin() phaser {
	sin, cos := math.Sincos(float64(e.phase))
	return phaser{cos: float32(cos), sin: float32(sin), drift: e.drift}
}

func (e *engine) end(p *phaser, place int) {
	sin, cos := math.Sincos(float64(e.phase + p.phase/2))
	e.turns[place/runSymbols] = complex(float32(cos), float32(sin))
	e.phase += p.phase
	if e.phase > math.Pi {
		e.phase -= 2 * math.Pi
	}
	if e.phase < -math.Pi {
		e.phase += 2 * math.Pi
	}
	e.drift = p.drift
}

// at returns the phase's cosine and sine.
func (p *phaser) at() (cos, sin float32) {
	x := p.phase
	c, s := 1-x*x/2, x-x*x*x/6
	return p.cos*c - p.sin*s, p.sin*c + p.cos*s
}

// follow moves the phase by what the errors of turnSymbols symbols, times their
// imaginary parts, say.
func (p *phaser) follow(lean float32) {
	x := min(max(lean*(1/float32(vsb.LevelMeanSquare)), -turnSymbols/2), turnSymbols/2)
	p.phase += phaseGain*x + p.drift*turnSymbols
	p.drift += driftGain * x
}

// passFieldSyncs notes the field syncs that went by in each round's block.
func (e *engine) passFieldSyncs() {
	for round := range e.stages {
		index := (e.segment - 2*round + vsb.FieldSegments) % vsb.FieldSegments
		if index == 0 || index+blockSegments > vsb.FieldSegments {
			e.stages[round].odd = !e.stages[round].odd
		}
	}
}

// believe estimates the levels of a round's soft symbols.
func (e *engine) believe(round int) {
	s := &e.stages[round]
	index := (e.segment - 2*round + vsb.FieldSegments) % vsb.FieldSegments
	at := e.origin - round*roundDelay
	var error, count float32
	for g := range blockSegments {
		levels := s.levels[at+g*vsb.SegmentSymbols:][:vsb.SegmentSymbols]
		if (index+g)%vsb.FieldSegments != 0 {
			for k := range vsb.SegmentSyncSymbols {
				levels[k] = segmentSync(k) + vsb.PilotLevel
				d := s.soft[g*vsb.SegmentSymbols+k] - segmentSync(k)
				error += d * d
			}
			count += vsb.SegmentSyncSymbols
			continue
		}
		for k := range levels {
			level, _ := e.fieldSync(k, s.soft[g*vsb.SegmentSymbols+k], s.odd)
			levels[k] = level + vsb.PilotLevel
		}
	}
	// The syncs, which need not be believed, show the noise as it is.
	if count > 0 && e.blocks*blockSymbols >= round*roundDelay {
		s.noise += (float64(error/count) - s.noise) * learning / 2
	}
	if round == 0 {
		s.believer.back(s.levels[at-errorDelay:])
		return
	}
	s.believer.block(s.levels[at-errorDelay:], s.soft, index)
}

// window is where the transform of a round's levels begins, and where in it the
// errors do.
const errorsAt = tapsBehind - 1

// subtract takes what the channel makes of a round's levels out of what was received.
// It leaves the transform of the levels in sent.
func (e *engine) subtract(round int) {
	s := &e.stages[round]
	first := e.origin - round*roundDelay - errorDelay
	window := s.levels[first-errorsAt : first+blockSymbols+tapsAhead]
	widen(e.sent, window)
	clear(e.sent[len(window):])
	_ = e.fft.Transform(e.sent, e.sent)
	multiply(e.work, e.sent, e.channel)
	_ = e.fft.Inverse(e.work, e.work)
	errors := e.errors[round][first:][:blockSymbols]
	subtractRuns(errors, e.received[first:], e.work[errorsAt:], e.turns[first/runSymbols:], e.lean[:], e.strength[:])
	clear(errors[:e.unknown(round)])
	e.straighten(first)
}

// unknown returns how many of a round's errors are from before the start, when nobody
// knows what was sent.
func (e *engine) unknown(round int) int {
	return min(max(round*roundDelay+errorDelay-e.blocks*blockSymbols, 0), blockSymbols)
}

// straighten turns the runs by what the last errors leave of the phase, each with its
// neighbours, for the next round.
func (e *engine) straighten(first int) {
	const count = blockSymbols / runSymbols
	turns := e.turns[first/runSymbols:][:count]
	weights := [...]float32{1, 2, 3, 2, 1}
	for i := range turns {
		var along, power float32
		for j, w := range weights {
			if k := i + j - len(weights)/2; k >= 0 && k < count {
				along += w * e.lean[k]
				power += w * e.strength[k]
			}
		}
		if !(power > 0) {
			continue
		}
		x := min(max(along/power, -0.3), 0.3)
		c, s := 1-x*x/2, -x
		t := turns[i]
		turns[i] = complex(real(t)*c-imag(t)*s, real(t)*s+imag(t)*c)
	}
}

// cancel makes soft symbols of a round's levels and errors, from first on.
func (e *engine) cancel(round int, f *filter, soft []float32, first int) {
	_ = e.fft.Transform(e.work, e.errors[round][first-laterBehind:][:blockSize])
	multiply(e.work, e.work, f.spectrum)
	_ = e.fft.Inverse(e.work, e.work)
	work := e.work[laterBehind:][:blockSymbols]
	levels := e.stages[round].levels[first:][:blockSymbols]
	for i, level := range levels {
		soft[i] = level - vsb.PilotLevel + real(work[i])
	}
}

// finish makes the engine's soft symbols of the last round's levels. However many
// rounds are left out, they are as late.
func (e *engine) finish() {
	first := e.origin - rounds*roundDelay
	e.cancel(e.active-1, e.filters[e.active], e.soft, first)
	var power, error, count float32
	for i, v := range e.soft {
		d := v - e.stages[e.active-1].levels[first+i] + vsb.PilotLevel
		power += d * d
	}
	for g := range blockSegments {
		place := e.blocks*blockSegments + g - rounds*roundDelay/vsb.SegmentSymbols
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
	e.errorPower += (float64(power)/blockSymbols - e.errorPower) / float64(min(8, max(1, e.blocks)))
}
