// Package receiver receives 8-VSB: samples of a radio that sees a whole channel go
// in, transport packets come out.
//
// # The way of a sample
//
// The front cuts the channel out by transforms and moves it to 0 Hz. The sampler reads
// one complex sample a symbol from that, at times that follow the station's clock, and
// turns the pilot to 0 Hz; as a channel is narrower than the symbol rate nothing is
// lost. The engine equalises, in rounds: see there. Its soft symbols go through the
// channel decoder.
//
// # Lock
//
// Two fields of samples are searched for the pilot and for two field syncs, whose
// distance tells the clock. The channel is estimated from the first of them by least
// squares, and what was received since is received: so the first packet is there when
// two fields are. From there on channel, noise, clock and phase follow the symbols
// that were decided. Lock is lost when the segment syncs are, or when symbols that
// should be good make no packet.
package receiver

import (
	"fmt"
	"math"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// Packet is a transport packet and what is known of its errors.
type Packet = coding.Packet

// Options say what the samples are and where packets go.
type Options struct {
	// RateHz is the rate of the complex samples, LowestRateHz to HighestRateHz.
	RateHz float64

	// LowerHz is where the channel's lower edge nominally lies, counted from
	// the middle of the samples' band. The whole channel must be in the band.
	LowerHz float64

	// Packet is called for each transport packet, from within Write and Flush.
	// What it points to is the receiver's: copy what is to be kept. nil drops
	// the packets; they are counted all the same.
	Packet func(p *Packet)
}

// The rates that a Receiver works at.
const (
	LowestRateHz  = 6e6
	HighestRateHz = 20e6
)

// Receiver turns samples into transport packets. It is used by one goroutine at a
// time, needs bounded memory, and allocates nothing while it is locked.
type Receiver struct {
	options Options
	status  Status

	front    *front
	sampler  *sampler
	engine   *engine
	acquirer *acquirer
	starter  *starter
	decoder  *coding.Decoder
	beside   *beside
	decoded  [blockSegments]struct {
		packet Packet
		made   bool
		fields int64 // field syncs passed
	}

	state   state
	waiting []complex64 // samples in which lock is looked for
	odd     bool        // the field sync that lock was found by
	passed  int64       // samples that the front got since lock
	limit   int64       // symbols from there on are of no use
	trouble float64     // bytes corrected in a packet, of late
	barren  int         // failed packets one after the other
	fields  int64
	silence [1024]complex64
	nominal float64 // the sampler's turn for a pilot in its place
}

type state int

const (
	searching state = iota
	starting        // lock was found: samples are awaited to start the equaliser with
	running
)

// New returns a receiver.
func New(o Options) (*Receiver, error) {
	const slack = 1e3 // the skirts end 511 Hz outside the edges
	switch {
	case !(o.RateHz >= LowestRateHz && o.RateHz <= HighestRateHz):
		return nil, fmt.Errorf("receiving 8-VSB: a sample rate of %g Hz is not between %g and %g MHz", o.RateHz, LowestRateHz/1e6, HighestRateHz/1e6)
	case !(o.LowerHz >= -o.RateHz/2-slack && o.LowerHz+vsb.ChannelWidthHz <= o.RateHz/2+slack):
		return nil, fmt.Errorf("receiving 8-VSB: the channel from %g to %g Hz is not wholly within ±%g Hz", o.LowerHz, o.LowerHz+vsb.ChannelWidthHz, o.RateHz/2)
	}
	r := &Receiver{options: o, decoder: coding.NewDecoder(), sampler: newSampler()}
	var err error
	if r.front, err = newFront(o.RateHz, o.LowerHz+vsb.ChannelWidthHz/2); err != nil {
		return nil, fmt.Errorf("receiving 8-VSB: %w", err)
	}
	if r.acquirer, err = newAcquirer(r.front); err != nil {
		return nil, fmt.Errorf("receiving 8-VSB: %w", err)
	}
	if r.starter, err = newStarter(); err != nil {
		return nil, fmt.Errorf("receiving 8-VSB: %w", err)
	}
	if r.engine, err = newEngine(r.sampler); err != nil {
		return nil, fmt.Errorf("receiving 8-VSB: %w", err)
	}
	r.beside = newBeside(r.behind)
	r.waiting = make([]complex64, 0, int(searchFields*vsb.FieldSymbols/vsb.SymbolRateHz*o.RateHz)+2*frontSize)
	return r, nil
}

// Write takes the samples that follow the last ones, any number of them.
func (r *Receiver) Write(samples []complex64) error {
	r.status.Samples += int64(len(samples))
	for len(samples) > 0 {
		if r.state != searching {
			samples = samples[r.pass(samples):]
			continue
		}
		n := min(len(samples), cap(r.waiting)-len(r.waiting))
		r.waiting = append(r.waiting, samples[:n]...)
		samples = samples[n:]
		if len(r.waiting) == cap(r.waiting) {
			r.search()
		}
	}
	return nil
}

// search looks for lock in the samples that wait.
func (r *Receiver) search() {
	found, ok := r.acquirer.search(r.waiting)
	if !ok {
		// Half of them may have the first field sync of the next two.
		n := copy(r.waiting, r.waiting[len(r.waiting)/2:])
		r.waiting = r.waiting[:n]
		return
	}
	samples := r.waiting
	r.waiting = r.waiting[:0]
	r.lockOn(found)
	for len(samples) > 0 && r.state != searching {
		samples = samples[r.pass(samples):]
	}
}

// lockOn makes ready for the samples that lock was found in.
func (r *Receiver) lockOn(found lock) {
	r.front.reset(found.carrierHz, 0)
	r.passed, r.limit, r.barren, r.trouble = 0, math.MaxInt, 0, uneasy
	r.sampler.reset()
	r.sampler.step = r.front.outRate() / vsb.SymbolRateHz * (1 + found.clock)
	r.nominal = (r.front.middleHz - vsb.ChannelWidthHz/2 + vsb.PilotOffsetHz - r.front.centreHz()) / r.front.outRate()
	r.sampler.place(found.at)
	r.sampler.phase = 0
	r.sampler.turn = r.nominal*r.sampler.step + found.carrierHz/r.front.outRate()*r.sampler.step
	r.odd = found.odd
	r.engine.drift = 0
	r.decoder.Reset()
	r.state = starting
}

// pass gives samples to the front and returns how many it took.
func (r *Receiver) pass(samples []complex64) int {
	n, out := r.front.write(samples)
	r.passed += int64(n)
	r.take(out)
	return n
}

// take takes what the front has made.
func (r *Receiver) take(out []complex64) {
	r.sampler.write(out)
	if r.state == starting {
		if !r.sampler.ready(startBlocks * blockSymbols) {
			return
		}
		r.engine.start(r.odd, r.starter)
		r.state = running
		r.status.Locks++
		r.status.Locked = true
	}
	for r.state == running && r.engine.ready() {
		r.step()
	}
}

// step takes a block of symbols.
func (r *Receiver) step() {
	e := r.engine
	e.adapt()
	e.weight = max(0.15, 1/float32(5+e.blocks))
	e.block(r.beside)
	if !e.healthy() || math.Abs(r.sampler.step/r.front.outRate()*vsb.SymbolRateHz-1) > 2*searchPPM*1e-6 {
		r.lose()
		return
	}
	// Where symbols should be good but no packet is, something was taken for
	// what it is not.
	if r.barren > barrenPackets && e.ideal > barrenSNR {
		r.lose()
		return
	}
	r.deliver()
}

// behind makes the packets of the block of symbols that has come out of all rounds.
func (r *Receiver) behind() {
	e := r.engine
	segment, before := e.segment, e.blocks*blockSegments
	e.behind()
	for i := range r.decoded {
		d := &r.decoded[i]
		d.made, d.fields = false, 0
		const behind = outputDelay / vsb.SegmentSymbols
		index := (segment + i - behind + vsb.FieldSegments) % vsb.FieldSegments
		place := before + int64(i) - behind
		if place < 0 || (place+1)*vsb.SegmentSymbols > r.limit {
			continue
		}
		if index == 0 {
			d.fields = 1
		}
		ok, err := r.decoder.Segment(&d.packet, index, e.soft[i*vsb.SegmentSymbols:][:vsb.SegmentSymbols])
		d.made = ok && err == nil
	}
}

const (
	barrenPackets = 2 * coding.FieldPackets
	barrenSNR     = 45 // 16.5 dB

	// How many wrong bytes a packet has, averaged over some troublePackets, says
	// whether reception is easy; from a block on when that is known.
	troublePackets = 32
	failedBytes    = 40
	uneasy         = 1.0
	easyBlocks     = 40
)

// deliver gives away the packets of a block.
func (r *Receiver) deliver() {
	for i := range r.decoded {
		d := &r.decoded[i]
		r.fields += d.fields
		if !d.made {
			continue
		}
		r.judge(&d.packet)
		if r.options.Packet != nil {
			r.options.Packet(&d.packet)
		}
	}
}

// judge notes how good the packets are.
func (r *Receiver) judge(p *Packet) {
	bad := float64(p.Corrected)
	if r.barren++; !p.Failed {
		r.barren = 0
	} else {
		bad = failedBytes
	}
	r.trouble += (bad - r.trouble) / troublePackets
	// Ease comes late and goes at once.
	switch {
	case r.trouble > uneasy:
		r.engine.easy = false
	case r.trouble < uneasy/8 && r.engine.blocks > easyBlocks:
		r.engine.easy = true
	}
}

// Gap says that samples were lost: those to come do not follow the last ones. The
// receiver finds out by itself too, but later.
func (r *Receiver) Gap() { r.lose() }

// lose begins to look for lock again.
func (r *Receiver) lose() {
	r.state = searching
	r.status.Locked = false
	r.waiting = r.waiting[:0]
}

// Flush works off what is still under way at the end of the samples. The packets
// whose last bytes were not received are lost. The samples that may follow are taken
// for others.
func (r *Receiver) Flush() error {
	if r.state == searching && len(r.waiting) > 0 {
		r.search()
	}
	if r.state != searching {
		// Silence follows, until the last symbol before it has come out.
		end := float64(r.passed)*r.front.outRate()/r.front.rateHz - float64(r.sampler.whole)
		r.limit = r.engine.blocks*blockSymbols + firstAhead + int64(end/r.sampler.step) - tapCount
		clear(r.silence[:])
		for range flushPieces {
			if r.state != running || r.engine.blocks*blockSymbols-outputDelay >= r.limit {
				break
			}
			for samples := r.silence[:]; len(samples) > 0 && r.state == running; {
				samples = samples[r.pass(samples):]
			}
		}
	}
	r.lose()
	return nil
}

// flushPieces is how many pieces of silence are enough to end with.
const flushPieces = 100

// Status returns how reception is.
func (r *Receiver) Status() Status {
	s := r.status
	t := r.decoder.Totals()
	s.Packets, s.Failed, s.Corrected = t.Packets, t.Failed, t.Corrected
	s.MERBeforeDB, s.MERAfterDB, s.IdealDB = math.NaN(), math.NaN(), math.NaN()
	if r.state == running {
		s.Fields = r.fields
		s.Rounds = r.engine.active
		s.MERBeforeDB = 10 * math.Log10(r.engine.before())
		s.LevelDBFS = 10 * math.Log10(r.engine.level())
		s.MERAfterDB = 10 * math.Log10(r.engine.mer())
		s.IdealDB = 10 * math.Log10(r.engine.ideal)
		nominal := r.front.outRate() / vsb.SymbolRateHz
		s.ClockPPM = (r.sampler.step/nominal - 1) * 1e6
		s.CarrierHz = (r.sampler.turn/r.sampler.step - r.nominal) * r.front.outRate()
	}
	return s
}
