package soapy

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

const (
	// ringSeconds of samples are kept for a reader who is busy, in ringBytes at
	// the most.
	ringSeconds = 0.5
	ringBytes   = 48 << 20

	// maxOverruns is how often a piece that losses have spoilt is begun again.
	maxOverruns = 8

	// networkAllowance is passed over after a retune of a radio at another
	// machine whose samples have no time.
	networkAllowance = 100 * time.Millisecond
	// hostAllowance is the same for one at this machine.
	hostAllowance = 5 * time.Millisecond
)

// radio is the tuner.Tuner that Open returns. It is also a tuner.BiasTee and a
// tuner.Rated.
type radio struct {
	lib    *library
	dev    uintptr
	handle uintptr // of the stream
	o      Options
	info   tuner.Info

	address Address // what finds it again
	format  format

	remote    bool
	hasTime   bool // its own, beside its samples'
	mtu, most int  // samples that the driver hands over at once, and that are taken so
	rates     tuner.Rates
	reach     []span // Hz
	filters   []span // Hz
	bandwidth float64

	shared bool      // the gain is shared out here, over the free elements
	free   []element // in the order from the antenna on
	least  float64   // the gain when all the free ones are at their lowest

	ring   *ring
	stream *stream // nil: none runs
	now    state
	to     tuner.Tuning // what was asked for last
	tuned  bool
	lost   bool
	inHand chan commanded // what is under way; nil when nothing is
	settle time.Duration  // what is passed over until the next Tune has succeeded

	room   []byte
	have   []byte // of room, not yet handed out
	haveAt time.Time
	wall   wallClock
	bias   string // the setting that is on
	hung   bool   // a command does not come back
	closed bool
	left   error // what there is to say of a radio that has gone and is not back
}

type element struct {
	name string
	span
}

// state is what the radio is set to; the zero value is not known.
type state struct {
	askedHz  float64 // the rate that was asked for
	realHz   float64 // and what became of it
	centerHz float64
	gainDB   float64 // what became of it
	askedDB  float64
	hasGain  bool
}

// commanded is what commands came to.
type commanded struct {
	now    state
	ring   *ring
	stream *stream
	timed  bool
	atNS   int64 // the radio's own time after the last, when timed
	err    error
}

// Info returns what does not change.
func (r *radio) Info() tuner.Info { return r.info }

// Rates returns the sample rates that the radio can be asked for.
func (r *radio) Rates() tuner.Rates { return r.rates }

// Tune is tuner.Tuner's.
func (r *radio) Tune(ctx context.Context, to tuner.Tuning) error {
	if r.closed {
		return fmt.Errorf("tuning %s: %w", r.info.Name, os.ErrClosed)
	}
	if err := r.reaches(to); err != nil {
		return err
	}
	r.to = to
	return r.again(ctx, func() error { return r.tune(ctx, to) })
}

func (r *radio) tune(ctx context.Context, to tuner.Tuning) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if r.inHand != nil { // of a Tune that was broken off
		if _, err := r.outcome(ctx); r.inHand != nil {
			return err
		}
	}
	r.tuned, r.have = false, nil
	done := make(chan commanded, 1)
	r.inHand = done
	before := commanded{now: r.now, ring: r.ring, stream: r.stream}
	if to.RateHz != r.now.askedHz {
		r.settle = max(r.o.Settle, dongle.RateSettle) // it may be a dongle
	}
	go func() { done <- r.command(before, to) }()
	got, err := r.outcome(ctx)
	if err != nil {
		return err
	}
	if err := r.arrive(ctx, got); err != nil {
		return err
	}
	r.tuned, r.lost, r.settle = true, false, r.o.Settle
	return nil
}

// reaches says whether the radio can be sent there at all.
func (r *radio) reaches(to tuner.Tuning) error {
	name := r.info.Name
	if rate, ok := r.rates.AtLeast(to.RateHz * (1 - 1e-6)); len(r.rates) > 0 && (!ok || rate > to.RateHz*(1+1e-6)) {
		var has []string
		for _, s := range r.rates {
			if s.LowHz == s.HighHz {
				has = append(has, fmt.Sprintf("%.4g", s.LowHz/1e6))
			} else {
				has = append(has, fmt.Sprintf("%.4g to %.4g", s.LowHz/1e6, s.HighHz/1e6))
			}
		}
		return &tuner.Problem{
			What: fmt.Sprintf("%s has no sample rate of %.4g MS/s", name, to.RateHz/1e6),
			Hint: "ask for one that it has with --rate, in MS/s: " + strings.Join(has, ", "),
			Err:  ErrRefused,
		}
	}
	within := func(s span) bool { return to.CenterHz >= s.Low && to.CenterHz <= s.High }
	if len(r.reach) > 0 && !slices.ContainsFunc(r.reach, within) || !(to.CenterHz > 0) {
		p := &tuner.Problem{
			What: fmt.Sprintf("%s does not reach %.6g MHz", name, to.CenterHz/1e6),
			Hint: "choose channels within its reach",
			Err:  ErrRefused,
		}
		if len(r.reach) > 0 {
			p.Hint = fmt.Sprintf("choose channels within its reach, %.5g to %.5g MHz", r.reach[0].Low/1e6, r.reach[len(r.reach)-1].High/1e6)
		}
		return p
	}
	return nil
}

// Read is tuner.Tuner's. When samples are lost under way it starts over with what
// follows them, so that a Block never has a gap inside.
func (r *radio) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	b := tuner.Block{Samples: dst[:0], GainDB: tuner.UnknownGain()}
	switch {
	case r.closed:
		return b, fmt.Errorf("reading from %s: %w", r.info.Name, os.ErrClosed)
	case !r.tuned && r.left == nil:
		return b, fmt.Errorf("reading from %s: not tuned", r.info.Name)
	}
	err := r.again(ctx, func() (err error) {
		if !r.tuned { // it was gone, and is back
			if err := r.tune(ctx, r.to); err != nil {
				return err
			}
			r.lost = true
		}
		b, err = r.read(ctx, dst)
		return err
	})
	return b, err
}

func (r *radio) read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	b := tuner.Block{Samples: dst[:0], GainDB: tuner.UnknownGain()}
	b.CenterHz, b.RateHz, b.Lost = r.now.centerHz, r.now.realHz, r.lost
	if r.now.hasGain {
		b.GainDB = r.now.gainDB
	}
	if err := ctx.Err(); err != nil {
		return b, err
	}
	n, overruns := 0, 0
	for n < len(dst) {
		if len(r.have) == 0 {
			gap, err := r.fill(ctx)
			if err != nil {
				b.Samples = dst[:n]
				return b, err
			}
			if gap {
				if overruns++; overruns > maxOverruns {
					return b, errTooSlow
				}
				n, b.Clipped, b.Lost = 0, 0, true
			}
		}
		if n == 0 {
			b.Start = r.haveAt
		}
		k, clipped := r.format.convert(dst[n:], r.have)
		n += k
		b.Clipped += clipped
		r.have = r.have[k*r.format.size:]
		r.haveAt = r.haveAt.Add(time.Duration(float64(k) / r.now.realHz * 1e9))
	}
	b.Samples = dst
	r.lost = false
	return b, nil
}

// fill replaces what is at hand by the stream's next samples.
func (r *radio) fill(ctx context.Context) (gap bool, err error) {
	if r.room == nil {
		r.room = make([]byte, 1<<15*r.format.size)
	}
	r.have = nil
	g, err := r.ring.take(ctx, r.room, r.o.Timeout)
	if err != nil {
		return false, err
	}
	r.have = r.room[:g.n*r.format.size]
	r.haveAt = g.last.Add(-time.Duration(float64(g.lag) / r.now.realHz * 1e9))
	if g.from.timed {
		ns := g.from.ns + int64(float64(g.at-g.from.at)/r.now.realHz*1e9)
		r.haveAt = r.wall.at(ns, r.haveAt)
	}
	return g.gap, nil
}

// wallClock turns a radio's time into the wall's.
type wallClock struct {
	known  bool
	offset time.Time // the wall's time when the radio's was 0
}

// at returns the wall's time of a moment of the radio's, which seems to be seen:
// by the arrival of samples, which are late but never early. One clock may drift
// against the other.
func (w *wallClock) at(ns int64, seen time.Time) time.Time {
	const drift = 200 * time.Millisecond
	offset := seen.Add(-time.Duration(ns))
	if !w.known || offset.Before(w.offset) || offset.Sub(w.offset) > drift {
		w.known, w.offset = true, offset
	}
	return w.offset.Add(time.Duration(ns))
}

// Close gives the radio back. When the library does not let go of it in time it is
// left to its fate and the error says so.
func (r *radio) Close() error {
	if r.closed {
		return nil
	}
	r.closed = true
	if r.left != nil {
		return nil // that was seen to when it went
	}
	return r.release()
}
