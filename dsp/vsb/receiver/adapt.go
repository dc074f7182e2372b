package receiver

import "rooftone/dsp/vsb"

const (
	// The filters are made anew where the channel has changed since: by so much that
	// what is left of the symbols is above movingShare of the noise, or where it stands
	// still, changedShare, which is more than the noise itself changes it, or the noise
	// by that share. In any case after so many blocks.
	movingShare  = 0.01
	changedShare = 0.03
	oldBlocks    = 64

	// newBlocks are the first after a start, before each of which filters are made;
	// after them only every lookBlocks.
	newBlocks  = 16
	lookBlocks = 4

	// After calmBlocks without a change the channel is a still one.
	calmBlocks = 100

	// warmBlocks have all the errors that the last soft symbols are made of.
	warmBlocks = history/blockSymbols + 2
)

// adapt makes the filters anew and chooses the rounds for the next block, if it is time.
func (e *engine) adapt() {
	if e.blocks >= newBlocks && e.blocks%lookBlocks != 0 {
		return
	}
	share := e.changed()
	if share > changedShare {
		e.calm = 0
	}
	if share > changedShare || share > movingShare && e.calm <= calmBlocks || e.blocks < newBlocks || e.blocks-e.fresh >= oldBlocks {
		e.smoothNoise()
		e.redesign()
	}
	e.choose()
}

// changed tells by which share of the noise the channel or its noise are others than the
// filters were made for.
func (e *engine) changed() float32 {
	var off, noise float32
	designed, sums := e.designed[:len(e.channel)], e.noiseSum[:len(e.channel)]
	for k, h := range e.channel {
		re, im := real(h)-real(designed[k]), imag(h)-imag(designed[k])
		off += re*re + im*im
		noise += sums[k]
	}
	more := noise - e.noiseTotal
	return max(off*vsb.LevelMeanSquare, more, -more) / noise
}

// redesign makes the filters anew.
func (e *engine) redesign() {
	e.ideal = e.designer.set(e.channel, e.noise)
	e.designer.design(e.first, e.channel, vsb.LevelMeanSquare, firstAhead)
	e.bank.design(e.designer, e.channel)
	copy(e.designed, e.channel)
	e.noiseTotal = 0
	for _, v := range e.noiseSum {
		e.noiseTotal += v
	}
	e.fresh = e.blocks
}

// choose sets how many rounds the next blocks go through.
func (e *engine) choose() {
	floor := e.bank.least()
	most, left := enough*floor, satisfied*floor
	if e.easy {
		most, left = easyEnough*floor, easySatisfied*floor
	}
	least := max(1, e.active-1)
	if e.remaining > left {
		least = e.active + 1
	}
	active := min(e.active+1, rounds)
	if e.light || e.warm > 0 {
		active = 1
	}
	for i := least; i <= e.active; i++ {
		if e.bank.noise(e.stages[i-1].believer.open) < most {
			active = i
			break
		}
	}
	e.activate(active)
	first := &e.stages[0]
	promised := e.first.noise(vsb.LevelMeanSquare)
	for i := range first.noises {
		first.noises[i] = float32(min(max(first.noise, promised), promised*4))
	}
	light := e.easy && e.active == 1 && e.warm == 0 && e.calm > calmBlocks && promised < most && e.remaining < left
	if e.light && !light {
		e.warm = warmBlocks
	}
	e.light = light
}

// activate sets the number of rounds. One that was left out begins with what the one
// before knows.
func (e *engine) activate(rounds int) {
	for i := e.active; i < rounds; i++ {
		s := &e.stages[i]
		s.told.take(e.stages[i-1].told)
		s.believer.doubt, s.believer.open = e.stages[i-1].believer.doubt/3, e.stages[i-1].believer.open/3
		copy(e.errors[i], e.errors[i-1])
		s.believer.reset()
	}
	e.active = rounds
}
