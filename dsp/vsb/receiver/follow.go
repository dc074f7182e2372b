package receiver

import (
	"math"

	"rooftone/dsp/vsb"
)

const (
	// Of what a block says about the clock, timingGain goes into the next
	// symbols' time and clockGain into the clock.
	timingGain = 0.1
	clockGain  = 0.003

	// doubtful is the mean square error of the levels at which they are hardly
	// good for anything but themselves.
	doubtful = 0.15

	// noiseGain is the weight of a block in the noise.
	noiseGain = 0.05

	// steadyBlocks is after how many blocks not every one is learnt from.
	steadyBlocks = 40
	steadyEvery  = 2
	calmEvery    = 8 // where the channel stands still and packets are good

	// carrierGain is the part of the phase's drift that the sampler's
	// oscillator takes over each block.
	carrierGain = 0.06
)

// teaches tells whether a block is learnt from.
func (e *engine) teaches(block int64) bool {
	switch {
	case e.light:
		return block%calmEvery == calmEvery-1
	case e.warm == warmBlocks:
		return false // nothing is known of the block before
	case block <= steadyBlocks:
		return true
	case e.easy && e.calm > calmBlocks:
		return block%calmEvery == calmEvery-1
	}
	return block%steadyEvery == 0
}

// lesson is what a block teaches.
type lesson struct {
	from  *scratch // whose work has the step of the channel's transform; nil for none
	trust float32
}

// learn compares what was received with what the channel makes of the settled symbols:
// the error improves the noise, and tells how to improve the channel.
//
// The levels without their mean are nearly white, so the correlation of error and
// levels is the least-squares step of the taps itself, all of them as fast.
func (e *engine) learn(w *scratch) {
	last := e.active - 1
	first := e.origin - delay(last) - errorDelay
	unknown := e.unknown(first)
	count := float32(blockSymbols - unknown)
	if count == 0 {
		return
	}
	if e.light {
		e.compare(e.linear[first:][:blockSymbols], first) // what comes out is not settled any more
	}
	e.pass(w, e.stages[last].told.settled, first)
	subtractRuns(e.residual, e.received[first:], w.work[errorsAt:], e.turns[first/runSymbols:], w.lean[2:2+blockSymbols/runSymbols], w.strength[2:2+blockSymbols/runSymbols])
	clear(e.residual[:unknown])
	clear(w.work)
	copy(w.work[errorsAt:], e.residual)
	_ = w.fft.Transform(w.work, w.work)
	// What is not believed firmly teaches little.
	doubt := float32(e.stages[last].believer.doubt / doubtful)
	trust := 1 / (1 + doubt*doubt)
	gain := float32(noiseGain)
	if e.blocks < 20 {
		gain = 1 / float32(e.blocks+1)
	}
	// The levels' mean is taken out of the window by its transform.
	work := w.work[:blockSize]
	noise, sent, mean := e.noiseSum[:blockSize], w.sent[:blockSize], e.mean[:blockSize]
	share := 1 / count
	for k, v := range work {
		p := (real(v)*real(v) + imag(v)*imag(v)) * share
		noise[k] += gain * trust * (p - noise[k])
		s := sent[k] - mean[k]
		work[k] = complex(real(v)*real(s)+imag(v)*imag(s), imag(v)*real(s)-real(v)*imag(s))
	}
	_ = w.fft.Inverse(work, work)
	clear(work[tapsBehind : blockSize-tapsAhead])
	step := 1. / blockSize / (count * vsb.LevelMeanSquare)
	for _, part := range [2][]complex64{work[:tapsBehind], work[blockSize-tapsAhead:]} {
		for i, v := range part {
			part[i] = complex(real(v)*step, imag(v)*step)
		}
	}
	_ = w.fft.Transform(work, work)
	e.lesson = lesson{w, trust}
}

// follow improves channel and clock by what the block taught.
func (e *engine) follow() {
	l := e.lesson
	if e.lesson = (lesson{}); l.from == nil {
		return
	}
	work := l.from.work[:blockSize]
	late := e.time(work)
	w := e.weight * l.trust
	// A delay of the channel is the sampler's to follow.
	turns, channel := e.binTurns[:blockSize], e.channel[:blockSize]
	for k, v := range work {
		h := channel[k]
		x := turns[k] * late
		channel[k] = complex(real(h)+w*(real(v)-x*imag(h)), imag(h)+w*(imag(v)+x*real(h)))
	}
	move := float64(e.drift) * carrierGain
	e.drift -= float32(move)
	e.sampler.turn -= move / (2 * math.Pi)
}

// time finds what of the channel's step a change of its delay explains and
// gives it to the sampler. It returns that delay in symbols.
//
// A channel that comes τ later is H·exp(−jω′τ), with ω′ counted from the middle of the
// channel, as the sampler moves the channel's middle without its phase.
func (e *engine) time(step []complex64) float32 {
	var along, square float64
	turns, step := e.binTurns[:blockSize], step[:blockSize]
	for k, h := range e.channel[:blockSize] {
		w := turns[k]
		// The derivative is −jωH.
		dr, di := w*imag(h), -w*real(h)
		v := step[k]
		along += float64(dr*real(v) + di*imag(v))
		square += float64(dr*dr + di*di)
	}
	if !(square > 0) {
		return 0
	}
	late := max(-0.2, min(0.2, along/square))
	e.sampler.move(late * timingGain * e.sampler.step)
	e.sampler.step *= 1 + late*clockGain/blockSymbols
	return float32(late)
}

// binTurn returns the frequency of a bin, from the channel's middle, in radians a
// symbol.
func binTurn(k int) float32 {
	const quarter = blockSize / 4
	d := k - quarter
	if d > blockSize/2 {
		d -= blockSize
	}
	return float32(d) * (2 * math.Pi / blockSize)
}

// smoothNoise makes the noise's density from what the errors had.
func (e *engine) smoothNoise() {
	const (
		mask = blockSize - 1
		half = 16
	)
	var sum, total float32
	for k := -half; k < half; k++ {
		sum += e.noiseSum[k&mask]
	}
	for _, v := range e.noiseSum {
		total += v
	}
	floor := noiseFloor * total / blockSize * 2
	for k := range e.noise {
		sum += e.noiseSum[(k+half)&mask]
		e.noise[k] = max(sum/(2*half+1), 0) + floor
		sum -= e.noiseSum[(k-half)&mask]
	}
}
