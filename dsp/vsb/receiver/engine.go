package receiver

import (
	"fmt"
	"math"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// The engine's windows hold symbols and what belongs to them, by their place relative
// to the block that is worked on, whose first symbol is at 0. What is at i stands at
// index history+i.
const (
	history = 3072

	// Symbols are settled, so far as they will be, this far behind the newest.
	settled = 512

	// cancelled is where the block begins that the canceller makes when the
	// decisions of the block at 0 are made.
	cancelled = -2 * vsb.SegmentSymbols
)

// engine equalises symbols and follows the channel, block by block. What it makes
// are soft symbols, segment by segment.
type engine struct {
	sampler  *sampler
	designer *designer
	fft      *psd.FFT
	slicer   *coding.Slicer

	// Windows.
	received []complex64 // from the sampler
	levels   []float32   // decided symbols, with the pilot's DC
	errors   []complex64 // of received, turned, less what the channel makes of levels
	turns    []complex64 // of each farSymbols symbols: by which phase received is turned

	points     []complex64 // the block as it was sliced, and its imaginary part
	channel    []complex64 // transform of taps, tap 0 being at index 0
	taps       []complex64 // of the channel, by delay, the first tapsAhead early
	noise      []float32   // density of the received samples' error, per bin
	noiseSum   []float32
	shape      []float32 // of white noise behind the front's filter, per bin, at most 1
	equalised  []complex64
	soft       []float32 // of the canceller, a block
	work, sent []complex64
	mean       []complex64 // transform of the levels' mean in a window
	paths      [12]coding.Path

	segment int // the block's first segment's index in its field
	odd     bool
	syncs   [2][]float32 // levels of field syncs, even and odd

	phase, drift float32 // by which equalised symbols are turned; its change a symbol
	weight       float32 // of a new block's channel in the taps
	blocks       int     // since the start

	debug      int
	stop       int
	genie      bool
	genieUntil int
	truth      []float32

	// What is measured.
	errorPower, quadrature float64 // smoothed, of the symbols behind the canceller and of the others' imaginary parts
	syncError              float64
}

func newEngine(s *sampler) (*engine, error) {
	const window = history + blockSymbols + forwardAhead
	e := &engine{
		sampler: s, slicer: coding.NewSlicer(),
		received: make([]complex64, window), turns: make([]complex64, window/farSymbols+1),
		errors: make([]complex64, window), levels: make([]float32, window),
		points:  make([]complex64, blockSymbols),
		channel: make([]complex64, blockSize), taps: make([]complex64, channelTaps),
		noise: make([]float32, blockSize), noiseSum: make([]float32, blockSize),
		shape:     make([]float32, blockSize),
		equalised: make([]complex64, blockSize), soft: make([]float32, blockSymbols),
		work: make([]complex64, blockSize), sent: make([]complex64, blockSize),
	}
	var err error
	if e.designer, err = newDesigner(); err != nil {
		return nil, err
	}
	if e.fft, err = psd.NewFFT(blockSize); err != nil {
		return nil, err
	}
	flat := vsb.Density(vsb.ChannelWidthHz / 2)
	for k := range e.shape {
		hz := float64(k) / blockSize * vsb.SymbolRateHz
		e.shape[k] = float32((vsb.Density(vsb.PilotOffsetHz+hz) + vsb.Density(vsb.PilotOffsetHz+hz-vsb.SymbolRateHz)) / flat)
	}
	e.mean = make([]complex64, blockSize)
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

// start begins with a field sync whose first symbol, on the path at tap 0, is the
// sampler's next. It needs the sampler to be ready for startBlocks blocks.
func (e *engine) start(odd bool, starter *starter) {
	begin := *e.sampler
	e.rewind(odd)
	const rows = history + startFirst
	taps, noise := starter.estimate(e.received[rows:rows+startCount], odd)
	copy(e.taps, taps)
	if e.debug > 0 {
		for l, v := range taps {
			if p := real(v)*real(v) + imag(v)*imag(v); p > 1e-4 {
				fmt.Printf("tap %d %.2e\n", l-tapsAhead, p)
			}
		}
		fmt.Println("noise", noise)
	}
	for k, s := range e.shape {
		e.noise[k] = noise * (s + noiseFloor)
	}
	e.transformTaps()
	clear(e.noiseSum)
	e.syncError, e.errorPower = 0, 0
	// The first blocks are gone through again and again, each time with the
	// channel that the time before has found.
	for round := range startRounds {
		for i := range startTrial {
			e.weight = max(0.15, 1/(2.5+float32(round)+float32(i)))
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
	e.weight = 0.25
}

const (
	startRounds = 3
	startTrial  = 4
	// startBlocks is how many blocks of symbols must be there to start.
	startBlocks = startTrial + 2

	noiseFloor = 0.003
)

// rewind goes back to the start: the sampler's next symbol is the first of the field
// sync.
func (e *engine) rewind(odd bool) {
	e.odd = odd
	clear(e.levels)
	clear(e.errors)
	for i := range e.turns {
		e.turns[i] = 1
	}
	clear(e.received)
	for i := range e.levels[:history] {
		e.levels[i] = vsb.PilotLevel
	}
	e.slicer.Reset()
	clear(e.paths[:])
	e.segment, e.blocks = 0, 0
	e.phase = 0
	// What lies before the first symbol and the first lookahead.
	e.sampler.advance(-forwardBehind)
	e.sampler.fill(e.received[history-forwardBehind : history+forwardAhead])
}

// ready tells whether there are samples for a block.
func (e *engine) ready() bool { return e.sampler.ready(blockSymbols) }

// block takes a block of symbols.
func (e *engine) block() {
	e.sampler.fill(e.received[history+forwardAhead:])
	e.equalise()
	e.decide()
	e.follow()
	e.cancel()
	if e.genieUntil--; e.genieUntil == 0 {
		e.genie = false
	}
	if e.debug > 0 && e.truth != nil {
		var mse, fresh, can [3]float32
		var wrong [3]int
		for i := range blockSymbols {
			tr := e.truth[e.blocks*blockSymbols+i]
			d := real(e.points[i]) - tr
			mse[i/832] += d * d / 832
			if e.levels[history+i]-1.25 != tr {
				wrong[i/832]++
			}
			if k := e.blocks*blockSymbols + i + cancelled; k >= 0 {
				d := e.soft[i] - e.truth[k]
				can[i/832] += d * d / 832
				d = e.levels[history+cancelled+i] - 1.25 - e.truth[k]
				fresh[i/832] += d * d / 832
			}
		}
		fmt.Printf("   dfe mse %.3f wrong %v  settled mse %.3f  canceller mse %.3f\n", mse, wrong, fresh, can)
	}
	if e.debug > 0 {
		fmt.Printf("block %d seg %d: ideal %.2f mer %.2f sync %.3f drift %.2e step %.8f pow %v\n", e.blocks, e.segment, 10*math.Log10(e.designer.snr), 10*math.Log10(e.mer()), e.syncError, e.drift, e.sampler.step, e.noise[1000])
		if e.stop--; e.stop == 0 {
			panic("stop")
		}
	}
	e.shift()
}

// shift makes the next block the one at 0.
func (e *engine) shift() {
	copy(e.received, e.received[blockSymbols:])
	copy(e.turns, e.turns[blockSymbols/farSymbols:])
	copy(e.errors, e.errors[blockSymbols:])
	copy(e.levels, e.levels[blockSymbols:])
	e.segment += blockSegments
	if e.segment >= vsb.FieldSegments {
		e.segment -= vsb.FieldSegments
	}
	e.blocks++
}

// equalise fills equalised with what the forward filter makes of the block.
func (e *engine) equalise() {
	_ = e.fft.Transform(e.work, e.received[history-forwardBehind:history-forwardBehind+blockSize])
	multiply(e.work, e.designer.forward)
	_ = e.fft.Inverse(e.equalised, e.work)
}

// multiply multiplies x by y.
func multiply(x, y []complex64) {
	y = y[:len(x)]
	for i, a := range x {
		b := y[i]
		x[i] = complex(real(a)*real(b)-imag(a)*imag(b), real(a)*imag(b)+imag(a)*real(b))
	}
}

// transformTaps fills channel.
func (e *engine) transformTaps() {
	clear(e.channel)
	copy(e.channel, e.taps[tapsAhead:])
	copy(e.channel[blockSize-tapsAhead:], e.taps[:tapsAhead])
	_ = e.fft.Transform(e.channel, e.channel)
}

// redesign makes the equaliser anew.
func (e *engine) redesign() {
	e.designer.design(e.channel, e.noise, e.uncertainty())
}

// uncertainty is the mean square error of decided symbols.
func (e *engine) uncertainty() float64 {
	return 0.05
}

// healthy tells whether what comes out can still be the station's symbols: whether
// the segment syncs are where they should be.
func (e *engine) healthy() bool {
	const worst = vsb.SyncLevel * vsb.SyncLevel / 1.6 // 2 dB
	return e.syncError < worst && e.designer.snr > 1 && e.errorPower < 1e3
}

// mer is the modulation error ratio as a ratio of powers.
func (e *engine) mer() float64 {
	return vsb.LevelMeanSquare / math.Max(e.errorPower, 1e-9)
}
