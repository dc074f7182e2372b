// Package dongle is what the USB dongle and the network dongle have in common:
// the RTL2832's way of being told something and of delivering samples.
//
// # Never two tunings in one block
//
// Commands to a dongle take effect in its analogue front end. Its samples come
// back through its own FIFO, the host's USB queue and, over a network, through
// the server's list and two sockets, and carry neither a number nor a time. So
// after a command nobody can tell from the outside where in the stream the old
// tuning ends: between 7 ms and, behind a slow network, half a minute may be
// under way.
//
// The RTL2832 can send a counter in place of its samples (librtlsdr's test
// mode), switched by a command like any other. Commands are carried out one
// after the other, and the counter enters the stream before all its queues. A
// Receiver therefore brackets every retune with it:
//
//	counter on, new rate, new gain, new centre, counter off
//
// and passes over everything up to the end of the counter, and over a short
// settling time after it. What follows was sampled after the last command, no
// matter how much was under way. A counter's bytes each are one more than the
// one before, modulo 256, which samples never are for long.
//
// A server that does not know the command never shows the counter. That is
// found out at the first Tune. From then on the Receiver passes over what can
// be under way by an allowance of time and of bytes instead, which holds as
// long as the allowance is larger than the queues.
package dongle

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"rooftone/scan/tuner"
)

// Control is what a dongle can be told. Calls take effect in the order they
// are made in, each before the next one begins.
type Control interface {
	SetCounter(on bool) error // send a counter in place of samples
	SetRate(hz uint32) error
	SetGain(tenths int) error // one of the chip's steps, tenths of a dB
	SetCenter(hz uint32) error
}

// Options are a Receiver's limits. All must be set.
type Options struct {
	Settle         time.Duration // passed over after a retune, for the oscillator to settle
	RateSettle     time.Duration // the same after one with another sample rate
	Allowance      time.Duration // what may be under way where there is no counter: in time
	AllowanceBytes int           // and beyond it, in bytes
	Patience       time.Duration // how long to wait for the next byte
	Lag            time.Duration // how far the stream may be behind the commands at most
	NoCounter      bool          // go by the allowance alone
	Chip           Chip          // the tuner's, for where it really goes; ChipUnknown takes it at its word
}

// RateSettle is how long a dongle's oscillator may be on its way after its sample rate
// was set: up to 100 ms were measured (librtlsdr's issue 44). What is heard meanwhile
// looks like a station with another under it.
const RateSettle = 100 * time.Millisecond

// The first gain, when the caller leaves it to the dongle: about what a good
// antenna wants.
const firstGainDB = 30

// How long the first Tune waits for a counter that may never come.
const probe = 1500 * time.Millisecond

// How often something that the ring running over has spoilt is tried again.
const maxOverruns = 8

var (
	// ErrTooSlow is a reader that cannot keep up with the stream.
	ErrTooSlow = errors.New("samples come faster than they are taken")
	// ErrBehind is a stream that lags the commands by more than Options.Lag.
	ErrBehind = errors.New("the stream is too far behind")
	// ErrStuck is a dongle that does not return from its counter to samples.
	ErrStuck = errors.New("the dongle keeps sending its test counter")

	errNoCounter = errors.New("the dongle does not show its counter")
)

// Receiver tunes a dongle and reads what it sends. It is used by one
// goroutine.
type Receiver struct {
	control Control
	ring    *Ring
	gains   []int
	o       Options

	now    state
	tuned  bool // now is what the dongle is set to and the stream has arrived there
	known  bool // the counter has worked
	lost   bool // for the next Block
	owed   *marker
	inHand chan outcome // of a bracket of commands under way; nil when there is none

	settle time.Duration // what is passed over until the next Tune has succeeded

	room   []byte
	have   []byte    // of room, not yet handed out; whole pairs
	haveAt time.Time // of have's first sample
}

// state is what the dongle is set to; the zero value is not known.
type state struct {
	rateHz   uint32
	centerHz uint32  // asked for
	reached  float64 // and what that comes to, Hz
	gain     int     // tenths of a dB
	hasGain  bool
}

// NewReceiver returns a Receiver for a dongle with the given gain steps, in
// tenths of a dB and ascending, whose stream arrives in ring.
func NewReceiver(c Control, ring *Ring, gains []int, o Options) *Receiver {
	return &Receiver{control: c, ring: ring, gains: gains, o: o, room: make([]byte, 1<<16)}
}

// Restart goes on with another connection to the same dongle, of whose setting
// nothing is known.
func (r *Receiver) Restart(c Control, ring *Ring) {
	r.control, r.ring = c, ring
	r.now = state{}
	r.tuned, r.owed, r.inHand, r.have = false, nil, nil, nil
}

// MarkLost says that samples are missing before the next Block.
func (r *Receiver) MarkLost() { r.lost = true }

// Tune is tuner.Tuner's.
func (r *Receiver) Tune(ctx context.Context, to tuner.Tuning) error {
	next, err := r.aim(to)
	if err != nil {
		return fmt.Errorf("tuning to %.6g MHz: %w", to.CenterHz/1e6, err)
	}
	if err := r.finish(ctx); err != nil {
		return err
	}
	if r.ring.Written() == 0 {
		// A counter that is over before the stream has begun is not in it.
		if _, err := r.fill(ctx); err != nil {
			return err
		}
	}
	for attempt := 1; ; attempt++ {
		r.tuned, r.have = false, nil
		r.ring.Skip()
		if err := r.command(ctx, next); err != nil {
			return err
		}
		err := r.arrive(ctx)
		if worthAgain(err) && attempt < maxOverruns {
			continue
		}
		if errors.Is(err, errNoCounter) {
			// It has been waited for longer than the allowance, so the stream
			// has arrived all the same.
			r.o.NoCounter, err = true, nil
		}
		if err != nil {
			return err
		}
		r.tuned, r.lost, r.settle = true, false, r.o.Settle
		return nil
	}
}

// worthAgain says whether a retune that failed so may well succeed next time.
func worthAgain(err error) bool {
	return errors.Is(err, ErrTooSlow) || errors.Is(err, ErrStuck)
}

// aim turns a tuning into what the dongle can be set to.
func (r *Receiver) aim(to tuner.Tuning) (state, error) {
	if err := checkRate(to.RateHz); err != nil {
		return state{}, err
	}
	if !(to.CenterHz >= 1 && to.CenterHz <= math.MaxUint32) {
		return state{}, errors.New("a dongle has no such frequency")
	}
	rateHz := uint32(math.Round(to.RateHz))
	there := r.o.Chip.place(to.CenterHz, realRate(rateHz))
	next := state{
		rateHz:   rateHz,
		centerHz: there.ask,
		reached:  there.hz,
		gain:     r.now.gain,
		hasGain:  r.now.hasGain,
	}
	if len(r.gains) > 0 && (!math.IsNaN(to.GainDB) || !next.hasGain) {
		want := to.GainDB
		if math.IsNaN(want) {
			want = firstGainDB
		}
		next.gain, next.hasGain = nearest(r.gains, want), true
	}
	return next, nil
}

// finish waits for what a Tune that was broken off has begun, so that there is
// never more than one counter under way.
func (r *Receiver) finish(ctx context.Context) error {
	if err := r.Wait(ctx); err != nil {
		return err
	}
	if r.owed == nil {
		return nil
	}
	err := r.passCounter(ctx)
	if worthAgain(err) || errors.Is(err, errNoCounter) {
		return nil
	}
	return err
}

// Wait waits until no command is under way, as one may be after a Tune that
// was broken off.
func (r *Receiver) Wait(ctx context.Context) error {
	if r.inHand == nil {
		return nil
	}
	if err := r.wait(ctx); ctx.Err() != nil {
		return err
	}
	return nil
}

func (r *Receiver) wait(ctx context.Context) error {
	select {
	case o := <-r.inHand:
		r.inHand = nil
		if o.err != nil {
			r.now = state{} // who knows what it is set to
		}
		if !o.marked {
			r.owed = nil // a counter that was never switched on will not come
		}
		return o.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// command sends the bracket of commands that leads to next. It does so in a
// goroutine of its own since a dongle that hangs takes seconds to say so.
func (r *Receiver) command(ctx context.Context, next state) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	c, old, mark := r.control, r.now, !r.o.NoCounter
	r.now = next
	if next.rateHz != old.rateHz {
		r.settle = max(r.o.Settle, r.o.RateSettle)
	}
	if mark {
		r.owed = newMarker(r.bytes(r.settle))
	}
	done := make(chan outcome, 1)
	r.inHand = done
	go func() { done <- bracket(c, old, next, mark) }()
	return r.wait(ctx)
}

// outcome is what became of a bracket of commands: whether the counter was switched
// on, and what went wrong.
type outcome struct {
	marked bool
	err    error
}

func bracket(c Control, old, next state, mark bool) outcome {
	if !mark {
		return outcome{false, move(c, old, next)}
	}
	if err := c.SetCounter(true); err != nil {
		return outcome{false, err}
	}
	err := move(c, old, next)
	if e := c.SetCounter(false); err == nil {
		err = e
	}
	return outcome{true, err}
}

// move gives the commands that lead from old to next.
func move(c Control, old, next state) error {
	if next.rateHz != old.rateHz {
		if err := c.SetRate(next.rateHz); err != nil {
			return err
		}
	}
	if next.hasGain && (!old.hasGain || next.gain != old.gain) {
		if err := c.SetGain(next.gain); err != nil {
			return err
		}
	}
	return c.SetCenter(next.centerHz)
}
