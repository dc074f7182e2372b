package receiver

import (
	"math"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
)

// The engine's windows hold symbols and what belongs to them, by their place relative
// to the block that is worked on, whose first symbol is at 0. What is at i stands at
// index origin+i.
const (
	history    = rounds*roundDelay + laterBehind + 128
	windowSize = history + windowBlocks*blockSymbols + firstAhead

	// windowBlocks is how many blocks the windows have room for before what is
	// in them must be moved.
	windowBlocks = 5

	// rounds is how often the symbols' levels are estimated. Each round works on
	// a block that begins roundDelay symbols before that of the round before;
	// its errors begin errorDelay before its levels.
	rounds = 10

	// Rounds are left out when the one before comes close to the noise that remains
	// where all symbols are known, and when no more than satisfied times that is
	// left in the end.
	enough    = 1.03
	satisfied = 1.15

	// While the packets are good, less will do, and no round is taken once the noise
	// is so little that packets are safe.
	easyEnough    = 1.1
	easySatisfied = 1.3
	safeNoise     = 0.4

	// caution is by how much more the levels are doubted than they say.
	caution = 1.5

	roundDelay = 2 * vsb.SegmentSymbols
	errorDelay = vsb.SegmentSymbols

	// runSymbols is how many symbols are turned by the same phase.
	runSymbols = 32
)

// stage is a round of estimating levels.
type stage struct {
	believer *believer
	soft     []float32 // a block
	levels   []float32 // window: the levels' means, with the pilot's DC
	odd      bool      // the next field sync's kind
	noise    float64   // variance of what stands in a soft symbol beside it, as the syncs show it
}

// engine equalises symbols and follows the channel, block by block. What it makes
// are soft symbols, segment by segment.
//
// The first round equalises linearly and estimates each symbol's level from the
// trellis code. What the channel makes of these estimates is taken out of the
// samples, and of the remainder the next round makes better soft symbols, which
// have little of the other symbols left, and so on. Where the last round ends it has
// the whole energy of a symbol on all paths, and no more than noise beside it.
type engine struct {
	sampler  *sampler
	designer *designer
	fft      *psd.FFT

	// Windows.
	received []complex64 // from the sampler
	errors   [rounds][]complex64
	turns    []complex64 // of each runSymbols symbols: by which phase received is turned

	stages  [rounds]stage
	active  int                 // how many of the rounds are done: as many as make a difference
	filters [rounds + 1]*filter // before each round, and behind the last
	soft    []float32           // the engine's output, a block

	channel        []complex64 // transform of the channel's impulse response
	noise          []float32   // density of the received samples' error, per bin
	noiseSum       []float32
	shape          []float32 // of white noise behind the front's filter, per bin, at most 1
	work, sent     []complex64
	mean           []complex64 // transform of the levels' mean in a window
	spectrum       [blockSize/2 + 1]float64
	lean, strength [blockSymbols / runSymbols]float32
	quadrature     []float32 // window: imaginary parts of the first round's soft symbols

	origin   int          // the block's place in the windows
	segment  int          // the block's first segment's index in its field
	binTurns []float32    // see binTurn
	syncs    [2][]float32 // levels of field syncs, even and odd

	phase, drift float32 // by which equalised symbols are turned; its change a symbol
	weight       float32 // of a new block's channel
	blocks       int     // since the start
	starts       int     // how often a start goes through the first blocks
	easy         bool    // whether the packets are good, so that fewer rounds will do

	// What is measured.
	ideal      float64 // of the ideal decision-feedback equaliser
	remaining  float64 // noise of the last soft symbols, as the syncs show it
	errorPower float64 // of the last soft symbols
	syncError  float64 // squared, of the segment syncs in the first round's soft symbols
}

func newEngine(s *sampler) (*engine, error) {
	e := &engine{
		sampler: s, starts: startRounds,
		received: make([]complex64, windowSize), turns: make([]complex64, windowSize/runSymbols+1),
		soft:    make([]float32, blockSymbols),
		channel: make([]complex64, blockSize),
		noise:   make([]float32, blockSize), noiseSum: make([]float32, blockSize),
		quadrature: make([]float32, windowSize),
		work:       make([]complex64, blockSize), sent: make([]complex64, blockSize), mean: make([]complex64, blockSize),
	}
	tables := new(beliefs)
	for i := range e.stages {
		e.errors[i] = make([]complex64, windowSize)
		e.stages[i] = stage{newBeliever(tables), make([]float32, blockSymbols), make([]float32, windowSize), false, 0}
	}
	for i := range e.filters {
		e.filters[i] = newFilter()
	}
	var err error
	if e.designer, err = newDesigner(); err != nil {
		return nil, err
	}
	if e.fft, err = psd.NewFFT(blockSize); err != nil {
		return nil, err
	}
	e.shape = pulseShape(blockSize)
	e.binTurns = make([]float32, blockSize)
	for k := range e.binTurns {
		e.binTurns[k] = binTurn(k)
	}
	for i := range channelTaps - 1 + blockSymbols {
		e.mean[i] = vsb.PilotLevel
	}
	if err = e.fft.Transform(e.mean, e.mean); err != nil {
		return nil, err
	}
	for i := range e.syncs {
		e.syncs[i] = training(i == 1)
	}
	return e, nil
}

const (
	startRounds = 3
	startTrial  = 7
	// startBlocks is how many blocks of symbols must be there to start.
	startBlocks = startTrial + 1

	noiseFloor = 0.003
)

// start begins with a field sync whose first symbol, on the path at tap 0, is the
// sampler's next. It needs the sampler to be ready for startBlocks blocks.
func (e *engine) start(odd bool, starter *starter) {
	begin := *e.sampler
	e.rewind(odd)
	const rows = history + startFirst
	taps, noise := starter.estimate(e.received[rows:rows+startCount], odd)
	clear(e.channel)
	copy(e.channel, taps[tapsAhead:])
	copy(e.channel[blockSize-tapsAhead:], taps[:tapsAhead])
	_ = e.fft.Transform(e.channel, e.channel)
	for k, s := range e.shape {
		e.channel[k] *= complex(s, 0)
		e.noise[k] = 2 * noise * (s + noiseFloor) // half of the band has all of it
	}
	copy(e.noiseSum, e.noise)
	e.syncError, e.errorPower = 1, 0
	e.active = rounds
	e.easy = false
	for i := range e.stages {
		b := e.stages[i].believer
		b.doubt = 1 / float64(1+3*i)
		e.stages[i].noise = 1.5 / float64(1+i)
	}
	// The first blocks are gone through again and again, each time with the
	// channel that the time before has found.
	for round := range e.starts {
		for i := range startTrial {
			e.weight = max(0.15, 1/(2+float32(round)+float32(i)))
			if round > 0 {
				e.smoothNoise()
			}
			e.redesign()
			e.block()
		}
		e.sampler.whole, e.sampler.part, e.sampler.phase = begin.whole, begin.part, begin.phase
		e.rewind(odd)
	}
	e.smoothNoise()
	e.redesign()
}

// rewind goes back to the start: the sampler's next symbol is the first of the field
// sync.
func (e *engine) rewind(odd bool) {
	clear(e.received)
	for i := range e.stages {
		s := &e.stages[i]
		for k := range s.levels {
			s.levels[k] = vsb.PilotLevel
		}
		s.believer.reset()
		s.odd = odd
		clear(s.soft)
		clear(e.errors[i])
	}
	for i := range e.turns {
		e.turns[i] = 1
	}
	e.origin, e.segment, e.blocks = history, 0, 0
	e.phase = 0
	// What lies before the first symbol and the first lookahead.
	e.sampler.advance(-firstBehind)
	e.sampler.fill(e.received[history-firstBehind : history+firstAhead])
}

// ready tells whether there are samples for a block.
func (e *engine) ready() bool { return e.sampler.ready(blockSymbols) }

// block takes a block of symbols.
func (e *engine) block() {
	e.sampler.fill(e.received[e.origin+firstAhead:][:blockSymbols])
	e.equalise()
	for i := range e.active {
		e.believe(i)
		e.subtract(i)
		if i+1 < e.active {
			e.cancel(i, e.filters[i+1], e.stages[i+1].soft, e.origin-(i+1)*roundDelay)
		}
	}
	e.follow()
	e.finish()
	e.passFieldSyncs()
	e.shift()
}

// shift makes the next block the one at 0.
func (e *engine) shift() {
	e.segment = (e.segment + blockSegments) % vsb.FieldSegments
	e.blocks++
	if e.origin += blockSymbols; e.origin+blockSymbols+firstAhead <= windowSize {
		return
	}
	from := e.origin - history
	copy(e.received, e.received[from:])
	copy(e.quadrature, e.quadrature[from:])
	copy(e.turns, e.turns[from/runSymbols:])
	for i := range e.active {
		copy(e.errors[i], e.errors[i][from:])
		copy(e.stages[i].levels, e.stages[i].levels[from:])
	}
	e.origin = history
}

// redesign makes the filters anew.
func (e *engine) redesign() {
	e.ideal = e.designer.set(e.channel, e.noise)
	spectrum := e.spectrum[:]
	for k := range spectrum {
		spectrum[k] = vsb.LevelMeanSquare
	}
	e.designer.design(e.filters[0], e.channel, spectrum, firstAhead)
	most, left := enough*e.designer.matched, satisfied*e.designer.matched
	if e.easy {
		most, left = max(easyEnough*e.designer.matched, safeNoise), max(easySatisfied*e.designer.matched, safeNoise)
	}
	least := max(1, e.active-1)
	if e.remaining > left {
		least = min(e.active+1, rounds)
	}
	active := rounds
	for i := range rounds {
		s := &e.stages[i]
		if i >= e.active {
			s.believer.doubt = e.stages[i-1].believer.doubt / 3
			s.noise = e.filters[i].noise
		}
		believed(spectrum, e.filters[i].noise, caution*s.believer.doubt)
		e.designer.design(e.filters[i+1], e.channel, spectrum, laterAhead)
		if e.filters[i+1].noise < most && i+1 >= least {
			active = i + 1
			break
		}
	}
	e.activate(active)
	for i := range e.active {
		s, promised := &e.stages[i], e.filters[i].noise
		s.believer.setNoise(min(max(s.noise, promised/1.5), promised*4))
	}
}

// activate sets the number of rounds. One that was left out begins with what the one
// before knows.
func (e *engine) activate(rounds int) {
	for i := e.active; i < rounds; i++ {
		copy(e.stages[i].levels, e.stages[i-1].levels)
		copy(e.errors[i], e.errors[i-1])
		clear(e.stages[i].soft)
		e.stages[i].believer.reset()
	}
	e.active = rounds
}

// mer is the modulation error ratio as a ratio of powers: of the last soft symbols'
// distance from the levels believed, and the part of these levels' own error that is
// not caution.
func (e *engine) mer() float64 {
	const uncautious = 0.72
	doubt := uncautious * e.stages[e.active-1].believer.doubt
	return vsb.LevelMeanSquare / math.Max(e.errorPower+doubt, 1e-9)
}

// healthy tells whether what comes out can still be the station's symbols: whether
// the segment syncs are where they should be.
func (e *engine) healthy() bool {
	const worst = 14 // squared error, of levels of ±5
	return e.syncError < worst && e.ideal > 0.5 && e.errorPower < 1e3
}
