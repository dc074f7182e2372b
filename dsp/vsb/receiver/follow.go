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

	// carrierGain is the part of the phase's drift that the sampler's
	// oscillator takes over each block.
	carrierGain = 0.06
)

// follow compares what was received with what the channel makes of the settled
// symbols and improves channel, noise and clock by the error.
//
// The levels without their mean are nearly white, so the correlation of error and
// levels is the least-squares step of the taps itself, all of them as fast.
func (e *engine) follow() {
	if e.blocks > steadyBlocks && e.blocks&1 != 0 {
		return // every other block teaches enough
	}
	last := e.active - 1
	first := e.origin - last*roundDelay - errorDelay
	errors := e.errors[last][first:][:blockSymbols]
	count := float32(blockSymbols - e.unknown(last))
	if count == 0 {
		return
	}
	clear(e.work)
	copy(e.work[errorsAt:], errors)
	_ = e.fft.Transform(e.work, e.work)
	// What is not believed firmly teaches little.
	doubt := float32(e.stages[last].believer.doubt / doubtful)
	trust := 1 / (1 + doubt*doubt)
	gain := float32(noiseGain)
	if e.blocks < 20 {
		gain = 1 / float32(e.blocks+1)
	}
	// The levels' mean is taken out of the window by its transform.
	for k, v := range e.work {
		p := (real(v)*real(v) + imag(v)*imag(v)) / count
		e.noiseSum[k] += gain * trust * (p - e.noiseSum[k])
		s := e.sent[k] - e.mean[k]
		e.work[k] = complex(real(v)*real(s)+imag(v)*imag(s), imag(v)*real(s)-real(v)*imag(s))
	}
	_ = e.fft.Inverse(e.work, e.work)
	clear(e.work[tapsBehind : blockSize-tapsAhead])
	step := 1. / blockSize / (count * vsb.LevelMeanSquare)
	for i, v := range e.work {
		e.work[i] = complex(real(v)*step, imag(v)*step)
	}
	_ = e.fft.Transform(e.work, e.work)
	e.time()
	w := e.weight * trust
	for k, v := range e.work {
		e.channel[k] += complex(w*real(v), w*imag(v))
	}
	move := float64(e.drift) * carrierGain
	e.drift -= float32(move)
	e.sampler.turn -= move / (2 * math.Pi)
}

// time takes out of the channel's step in work what a change of its delay explains
// and gives it to the sampler.
//
// A channel that comes τ later is H·exp(−jω′τ), with ω′ counted from the middle of the
// channel, as the sampler moves the channel's middle without its phase.
func (e *engine) time() {
	var along, square float64
	for k, h := range e.channel {
		w := binTurn(k)
		// The derivative is −jωH.
		dr, di := w*imag(h), -w*real(h)
		v := e.work[k]
		along += float64(dr*real(v) + di*imag(v))
		square += float64(dr*dr + di*di)
	}
	if !(square > 0) {
		return
	}
	late := max(-0.2, min(0.2, along/square))
	l := float32(late)
	for k, h := range e.channel {
		w := binTurn(k) * l
		e.work[k] -= complex(w*imag(h), -w*real(h))
	}
	e.sampler.move(late * timingGain * e.sampler.step)
	e.sampler.step *= 1 + late*clockGain/blockSymbols
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
