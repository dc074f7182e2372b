package receiver

import (
	"math"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
)

// The engine's windows hold symbols and what belongs to them, by their place relative
// to the block that is worked on, whose first symbol is at 0. What is at i stands at
// index origin+i. Segments begin at multiples of their length.
const (
	history    = (outputDelay + laterBehind + vsb.SegmentSymbols) / vsb.SegmentSymbols * vsb.SegmentSymbols
	windowSize = history + windowBlocks*blockSymbols + firstAhead

	// windowBlocks is how many blocks the windows have room for before what is
	// in them must be moved.
	windowBlocks = 10

	// rounds is how often the symbols' levels are estimated. Each round works on
	// a block that begins roundDelay symbols before that of the round before;
	// its errors begin errorDelay before its levels.
	rounds = 7

	// Rounds are left out when the one before comes close to the noise that remains
	// where all symbols are known, and when no more than satisfied times that is
	// left in the end.
	enough    = 1.03
	satisfied = 1.15

	// While the packets are good, a little less will do: the modulation error ratio
	// tells what the channel is like, and not which rounds were left out.
	easyEnough    = 1.1
	easySatisfied = 1.3

	roundDelay = 2 * vsb.SegmentSymbols

	// rearRound is the first of the rounds that are a whole block later than that, so
	// that they can be done while those before are at the next block. The output is as
	// late as a round behind the last.
	rearRound   = 3
	outputDelay = rounds*roundDelay + blockSymbols

	errorDelay = vsb.SegmentSymbols

	// runSymbols is how many symbols are turned by the same phase.
	runSymbols = 32
)

// stage is a round of estimating levels. Its windows are those of told.
type stage struct {
	believer *believer
	soft     []float32 // a block
	noises   [blockPieces]float32
	told     told
	odd      bool    // the next field sync's kind
	noise    float64 // variance of what stands in a soft symbol beside it, as the syncs show it
}

func newStage(tables *beliefs) stage {
	s := stage{believer: newBeliever(tables), soft: make([]float32, blockSymbols)}
	s.told.levels, s.told.settled = make([]float32, windowSize), make([]float32, windowSize)
	s.told.variances = make([]float32, (windowSize/vsb.SegmentSymbols+1)*pieces)
	return s
}

// from returns what is told from a place in the windows on, where a segment begins.
func (t told) from(at int) told {
	return told{t.levels[at:], t.settled[at:], t.variances[at/vsb.SegmentSymbols*pieces:]}
}

// keep drops what lies before the given place in the windows.
func (t told) keep(from int) {
	rest := t.from(from)
	copy(t.levels, rest.levels)
	copy(t.settled, rest.settled)
	copy(t.variances, rest.variances)
}

// take takes over what another round was told.
func (t told) take(o told) {
	copy(t.levels, o.levels)
	copy(t.settled, o.settled)
	copy(t.variances, o.variances)
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

	// Windows.
	received   []complex64 // from the sampler
	errors     [rounds][]complex64
	turns      []complex64 // of each runSymbols symbols: by which phase received is turned
	linear     []float32   // the first round's soft symbols
	quadrature []float32   // their imaginary parts

	stages [rounds]stage
	active int       // how many of the rounds are done: as many as make a difference
	light  bool      // whether the first round's soft symbols are good enough as they are
	first  *filter   // before the first round
	bank   *bank     // behind each
	soft   []float32 // the engine's output, a block

	channel    []complex64 // transform of the channel's impulse response
	designed   []complex64 // the same when the filters were made
	noise      []float32   // density of the received samples' error, per bin
	noiseSum   []float32
	noiseTotal float32     // sum of noiseSum when the filters were made
	shape      []float32   // of white noise behind the front's filter, per bin, at most 1
	mean       []complex64 // transform of the levels' mean in a window

	ahead, rear *scratch    // of what is done at the same time
	residual    []complex64 // a block
	noises      [blockPieces]float32
	phases      [blockSymbols / phaseSymbols]float32
	lesson      lesson

	origin   int          // the block's place in the windows
	segment  int          // the block's first segment's index in its field
	binTurns []float32    // see binTurn
	syncs    [2][]float32 // levels of field syncs, even and odd

	phase, drift float32 // by which equalised symbols are turned; its change a symbol
	weight       float32 // of a new block's channel
	blocks       int64   // since the start: its symbols are more than an int32 holds after 200 s
	fresh        int64   // block at which the filters were made
	calm         int     // blocks since the channel last changed
	warm         int     // blocks until there are errors again after a time without
	starts       int     // how often a start goes through the first blocks
	easy         bool    // whether the packets are good, so that fewer rounds will do

	// What is measured.
	ideal      float64 // of the ideal decision-feedback equaliser
	remaining  float64 // noise of the last soft symbols, as the syncs show it
	errorPower float64 // of the last soft symbols
	syncError  float64 // squared, of the segment syncs in the first round's soft symbols
}

// scratch is what rounds work with that is of no use to the next.
type scratch struct {
	fft              *psd.FFT
	tables           *beliefs
	work, sent, made []complex64
	mixtures         [blockPieces]mixture
	lean, strength   [blockSymbols/runSymbols + 4]float32 // of runs, with two at either end that there are not
}

func newScratch() (*scratch, error) {
	bins := func() []complex64 { return make([]complex64, blockSize) }
	fft, err := psd.NewFFT(blockSize)
	return &scratch{fft: fft, tables: new(beliefs), work: bins(), sent: bins(), made: bins()}, err
}

func (e *engine) scratchOf(round int) *scratch {
	if round < rearRound {
		return e.ahead
	}
	return e.rear
}

// delay is by how many symbols a round's block lies behind the first one's.
func delay(round int) int {
	if round < rearRound {
		return round * roundDelay
	}
	return round*roundDelay + blockSymbols
}

func newEngine(s *sampler) (*engine, error) {
	bins := func() []complex64 { return make([]complex64, blockSize) }
	e := &engine{
		sampler: s, starts: startRounds,
		received: make([]complex64, windowSize), turns: make([]complex64, windowSize/runSymbols+1),
		linear: make([]float32, windowSize), quadrature: make([]float32, windowSize),
		first: newFilter(), bank: newBank(), soft: make([]float32, blockSymbols),
		channel: bins(), designed: bins(), mean: bins(), shape: pulseShape(blockSize),
		noise: make([]float32, blockSize), noiseSum: make([]float32, blockSize), binTurns: make([]float32, blockSize),
		residual: make([]complex64, blockSymbols),
	}
	var err error
	if e.ahead, err = newScratch(); err != nil {
		return nil, err
	}
	if e.rear, err = newScratch(); err != nil {
		return nil, err
	}
	for i := range e.stages {
		e.errors[i] = make([]complex64, windowSize)
		e.stages[i] = newStage(e.scratchOf(i).tables)
	}
	if e.designer, err = newDesigner(); err != nil {
		return nil, err
	}
	for k := range e.binTurns {
		e.binTurns[k] = binTurn(k)
	}
	for i := range channelTaps - 1 + blockSymbols {
		e.mean[i] = vsb.PilotLevel
	}
	if err = e.ahead.fft.Transform(e.mean, e.mean); err != nil {
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
	_ = e.ahead.fft.Transform(e.channel, e.channel)
	for k, s := range e.shape {
		e.channel[k] *= complex(s, 0)
		e.noise[k] = 2 * noise * (s + noiseFloor) // half of the band has all of it
	}
	copy(e.noiseSum, e.noise)
	e.syncError, e.errorPower = 1, 0
	e.active = rounds
	e.easy, e.light, e.calm, e.warm, e.remaining = false, false, 0, 0, 1
	for i := range e.stages {
		b := e.stages[i].believer
		b.doubt = 1 / float64(1+3*i)
		b.open = b.doubt
		e.stages[i].noise = 1.5 / float64(1+i)
	}
	// The first blocks are gone through again and again, each time with the
	// channel that the time before has found.
	alone := &beside{do: e.behind}
	for round := range e.starts {
		for i := range startTrial {
			e.weight = max(0.15, 1/(2+float32(round)+float32(i)))
			if round > 0 {
				e.smoothNoise()
			}
			e.redesign()
			e.choose()
			e.block(alone)
		}
		e.sampler.whole, e.sampler.part, e.sampler.phase = begin.whole, begin.part, begin.phase
		e.rewind(odd)
	}
	e.smoothNoise()
	e.redesign()
	e.choose()
}

// rewind goes back to the start: the sampler's next symbol is the first of the field
// sync.
func (e *engine) rewind(odd bool) {
	clear(e.received)
	for i := range e.stages {
		s := &e.stages[i]
		for k := range s.told.levels {
			s.told.levels[k], s.told.settled[k] = vsb.PilotLevel, vsb.PilotLevel
		}
		clear(s.told.variances)
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

// block takes a block of symbols. What is in rear is done at the same time as what is
// done here.
func (e *engine) block(beside *beside) {
	beside.begin()
	e.sampler.fill(e.received[e.origin+firstAhead:][:blockSymbols])
	e.equalise(e.ahead)
	if !e.light || e.teaches(e.blocks) || e.teaches(e.blocks+1) {
		e.believe(0)
	}
	if !e.light {
		e.subtract(e.ahead, 0)
	}
	for i := 1; i < min(e.active, rearRound); i++ {
		e.round(i)
	}
	if e.teaches(e.blocks) && e.active <= rearRound {
		e.learn(e.ahead)
	}
	beside.end()
	e.follow()
	e.passFieldSyncs()
	e.shift()
}

// behind does the rounds that are a block later, and makes the output.
func (e *engine) behind() {
	for i := rearRound; i < e.active; i++ {
		e.round(i)
	}
	e.finish()
	if e.teaches(e.blocks) && e.active > rearRound {
		e.learn(e.rear)
	}
}

// round does a round but the first.
func (e *engine) round(i int) {
	s, w := &e.stages[i], e.scratchOf(i)
	e.cancel(w, i-1, s.soft, s.noises[:], e.origin-delay(i))
	e.believe(i)
	e.subtract(w, i)
}

// shift makes the next block the one at 0.
func (e *engine) shift() {
	e.segment = (e.segment + blockSegments) % vsb.FieldSegments
	e.blocks++
	e.calm++
	e.warm = max(0, e.warm-1)
	if e.origin += blockSymbols; e.origin+blockSymbols+firstAhead <= windowSize {
		return
	}
	from := e.origin - history
	copy(e.received, e.received[from:])
	copy(e.linear, e.linear[from:])
	copy(e.quadrature, e.quadrature[from:])
	copy(e.turns, e.turns[from/runSymbols:])
	for i := range e.active {
		copy(e.errors[i], e.errors[i][from:])
		e.stages[i].told.keep(from)
	}
	e.origin = history
}

// mer is the modulation error ratio as a ratio of powers: of the last soft symbols'
// distance from the levels believed, and of these levels' own error.
func (e *engine) mer() float64 {
	return vsb.LevelMeanSquare / math.Max(e.errorPower+e.stages[e.active-1].believer.doubt, 1e-9)
}

// healthy tells whether what comes out can still be the station's symbols: whether
// the segment syncs are where they should be.
func (e *engine) healthy() bool {
	const worst = 14 // squared error, of levels of ±5
	return e.syncError < worst && e.ideal > 0.5 && e.errorPower < 1e3
}
