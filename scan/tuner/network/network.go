// Package network is the tuner behind a dongle server: a dongle on another
// computer, served over TCP by the server of Debian's rtl-sdr package or one
// that speaks its protocol.
//
// # The protocol
//
// The server greets with 12 bytes: "RTL0", the tuner chip (rtl-sdr.h's number)
// and how many gain steps it has, both 32 bits big-endian. From then on it
// sends samples, unsigned 8-bit I and Q, for as long as the connection lasts.
// Commands go the other way at any time: one byte that says what and 32 bits
// big-endian that say how much. They are not acknowledged. The server has one
// dongle and serves one program at a time; a second connection is accepted by
// its operating system and hears nothing until the first has gone.
//
// # What cannot be seen
//
// Samples carry no time and no number. The server drops them when the network
// does not take them fast enough, and nothing in the stream shows where. This
// package therefore takes them as fast as they come, whether or not they are
// being read, drops them itself when they are not (and knows it: Block.Lost),
// and marks as Lost also the block after a while in which a tenth or more of
// what the sample rate promises did not arrive.
//
// How a retune is told from what was under way before it stands in
// internal/dongle. Where the server does not know the counter that this rests
// on, the samples of Options.Allowance are passed over instead: the server's
// USB buffers hold 55 ms each at 2.4 MS/s, so 250 ms are four of them and the
// network's share.
package network

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

// What can be wrong with a network dongle. Each comes in a *tuner.Problem.
var (
	ErrAddress     = errors.New("not an address of a dongle server")
	ErrUnreachable = errors.New("dongle server not reached")
	ErrSilent      = errors.New("dongle server did not greet")
	ErrNotServer   = errors.New("not a dongle server")
	ErrLost        = errors.New("connection to the dongle server lost")
	ErrStalled     = errors.New("dongle server stalled")
	ErrTooSlow     = errors.New("too slow for the sample rate")
)

// Options are a connection's limits. The zero value asks for the defaults.
type Options struct {
	// Timeout is how long the server may take to accept a connection, to
	// greet, to take a command and to send the next byte. 0: 3 s.
	Timeout time.Duration

	// Settle is passed over after a retune for the tuner's oscillator to
	// settle. 0: 3 ms.
	Settle time.Duration

	// Allowance is what may be under way when the server does not know the
	// counter. 0: 250 ms.
	Allowance time.Duration

	// Lag is how far the stream may be behind the commands. 0: 10 s.
	Lag time.Duration

	// NoCounter leaves the counter alone and goes by the Allowance.
	NoCounter bool

	// Backoff is how long to wait before each attempt to get a lost
	// connection back. nil: four attempts within some 4 s.
	Backoff []time.Duration
}

func (o Options) withDefaults() Options {
	fill := func(d *time.Duration, def time.Duration) {
		if *d <= 0 {
			*d = def
		}
	}
	fill(&o.Timeout, 3*time.Second)
	fill(&o.Settle, 3*time.Millisecond)
	fill(&o.Allowance, 250*time.Millisecond)
	fill(&o.Lag, 10*time.Second)
	if o.Backoff == nil {
		o.Backoff = []time.Duration{100 * time.Millisecond, 400 * time.Millisecond, 1200 * time.Millisecond, 2 * time.Second}
	}
	return o
}

// radio is the tuner.Tuner that Dial returns. It is also a tuner.BiasTee.
type radio struct {
	addr string // host:port
	o    Options
	info tuner.Info
	link *link
	rx   *dongle.Receiver
	pace dongle.Pace

	tuning tuner.Tuning // the last that was reached
	bias   *bool        // what SetBiasTee was last told
	closed bool
}

// Dial connects to a dongle server at "HOST:PORT"; "HOST" alone is its usual
// port 1234, and a leading "tcp://" is allowed. The dongle's settings are
// taken over: gain by hand, no correction of the clock, no automatic gain in
// the demodulator, no direct sampling. Its bias tee is left as it is. Errors
// are *tuner.Problem or the context's.
func Dial(ctx context.Context, addr string, o Options) (tuner.Tuner, error) {
	addr, err := parseAddr(addr)
	if err != nil {
		return nil, err
	}
	o = o.withDefaults()
	l, err := connect(ctx, addr, o.Timeout)
	if err != nil {
		return nil, err
	}
	r := &radio{
		addr: addr,
		o:    o,
		link: l,
		info: tuner.Info{
			Name:     "tcp://" + addr,
			Datatype: dongle.Datatype,
			GainsDB:  dongle.GainsDB(l.steps),
			Clock:    dongle.Clock(),
		},
		rx: dongle.NewReceiver(l, l.ring, l.steps, dongle.Options{
			Settle:     o.Settle,
			RateSettle: dongle.RateSettle,
			Allowance:  o.Allowance,
			Patience:   o.Timeout,
			Lag:        o.Lag,
			NoCounter:  o.NoCounter,
			Chip:       l.chip,
		}),
	}
	return r, nil
}

// Info returns what does not change.
func (r *radio) Info() tuner.Info { return r.info }

// Tune is tuner.Tuner's.
func (r *radio) Tune(ctx context.Context, to tuner.Tuning) error {
	if r.closed {
		return fmt.Errorf("tuning %s: %w", r.info.Name, os.ErrClosed)
	}
	r.pace.Look(r.link.ring)
	err := r.rx.Tune(ctx, to)
	for tries := len(r.o.Backoff); isLost(err) && tries > 0; tries-- {
		if err := r.reconnect(ctx, err); err != nil {
			return err
		}
		err = r.rx.Tune(ctx, to)
	}
	if err != nil {
		return r.problem(err)
	}
	r.tuning = to
	r.pace.At(to.RateHz)
	return nil
}

// Read is tuner.Tuner's.
func (r *radio) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if r.closed {
		return tuner.Block{Samples: dst[:0], GainDB: tuner.UnknownGain()},
			fmt.Errorf("reading from %s: %w", r.info.Name, os.ErrClosed)
	}
	if r.pace.Look(r.link.ring) {
		r.rx.MarkLost()
	}
	b, err := r.rx.Read(ctx, dst)
	for tries := len(r.o.Backoff); isLost(err) && tries > 0; tries-- {
		if err := r.reconnect(ctx, err); err != nil {
			return b, err
		}
		if err = r.rx.Tune(ctx, r.tuning); err == nil {
			r.rx.MarkLost()
			b, err = r.rx.Read(ctx, dst)
		}
	}
	if err != nil {
		return b, r.problem(err)
	}
	return b, nil
}

// reconnect gets a lost connection back, or says that it could not.
func (r *radio) reconnect(ctx context.Context, lost error) error {
	r.link.close()
	var last error
	for _, wait := range r.o.Backoff {
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return ctx.Err()
		}
		l, err := connect(ctx, r.addr, r.o.Timeout)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil && r.bias != nil {
			err = l.setBiasTee(*r.bias)
		}
		if err == nil {
			r.link = l
			r.rx.Restart(l, l.ring)
			r.pace.Restart()
			return nil
		}
		if l != nil {
			l.close()
		}
		last = err
	}
	what := fmt.Sprintf("the connection to %s was lost and did not come back", r.info.Name)
	if last != nil {
		what += ": " + last.Error()
	}
	return &tuner.Problem{
		What: what,
		Hint: "see whether the server still runs and the network is up, then start again",
		Err:  errors.Join(ErrLost, lost, last),
	}
}

// SetBiasTee switches the voltage on the dongle's antenna socket, if the
// dongle has one to switch.
func (r *radio) SetBiasTee(on bool) error {
	if r.closed {
		return fmt.Errorf("switching the bias tee of %s: %w", r.info.Name, os.ErrClosed)
	}
	r.bias = &on
	if err := r.link.setBiasTee(on); err != nil {
		return r.problem(err)
	}
	return nil
}

// Close ends the connection.
func (r *radio) Close() error {
	r.closed = true
	r.link.close()
	return nil
}

func isLost(err error) bool {
	return errors.As(err, new(*lostError))
}

// problem puts an error of the receiver or the link into words.
func (r *radio) problem(err error) error {
	switch {
	case errors.Is(err, dongle.ErrStalled), errors.Is(err, dongle.ErrStuck):
		return &tuner.Problem{
			What: fmt.Sprintf("%s stalled: %v", r.info.Name, err),
			Hint: "restart the dongle server; if that does not help, replug its dongle",
			Err:  errors.Join(ErrStalled, err),
		}
	case errors.Is(err, dongle.ErrBehind):
		return &tuner.Problem{
			What: fmt.Sprintf("the network to %s is too slow: samples come more than %v late", r.info.Name, r.o.Lag),
			Hint: "use a wired network (2.4 MS/s are 38 Mbit/s), or run rooftone where the dongle is",
			Err:  errors.Join(ErrTooSlow, err),
		}
	case errors.Is(err, dongle.ErrTooSlow):
		return &tuner.Problem{
			What: "this computer does not keep up with the samples from " + r.info.Name,
			Hint: "close other programs and try again",
			Err:  errors.Join(ErrTooSlow, err),
		}
	case isLost(err):
		return &tuner.Problem{
			What: fmt.Sprintf("the connection to %s was lost: %v", r.info.Name, err),
			Hint: "see whether the server still runs and the network is up, then start again",
			Err:  errors.Join(ErrLost, err),
		}
	}
	return err
}
