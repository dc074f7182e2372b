package dongle

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"rooftone/scan/tuner"
)

// arrive passes over the stream up to where it is at the newest commands.
func (r *Receiver) arrive(ctx context.Context) error {
	if !r.o.NoCounter {
		return r.passCounter(ctx)
	}
	// What came while the commands were carried out does not count.
	r.ring.Skip()
	return r.pass(ctx, r.o.Allowance, r.o.AllowanceBytes+r.bytes(r.o.Allowance+r.settle))
}

// rate returns the sample rate, or a usual one when it is not known.
func (r *Receiver) rate() float64 {
	if r.now.rateHz == 0 {
		return 2.4e6
	}
	return realRate(r.now.rateHz)
}

// bytes returns how many bytes the dongle sends in d, an even number.
func (r *Receiver) bytes(d time.Duration) int {
	return 2 * int(math.Ceil(d.Seconds()*r.rate()))
}

// span returns how long the dongle takes to send so many bytes.
func (r *Receiver) span(bytes int) time.Duration {
	return time.Duration(float64(bytes/2) / r.rate() * 1e9)
}

// pass passes over at least that much, in time and in bytes.
func (r *Receiver) pass(ctx context.Context, d time.Duration, bytes int) error {
	start := time.Now()
	for {
		t, err := r.fill(ctx)
		if err != nil {
			return err
		}
		n := t.N
		if time.Since(start) < d {
			n, bytes = 0, bytes-n
		} else if n < bytes {
			n, bytes = 0, bytes-n
		} else {
			n -= max(bytes, 0)
		}
		r.keep(n &^ 1)
		if n > 0 {
			return nil
		}
	}
}

// passCounter passes over the stream up to the end of the counter that is
// owed, or says why that cannot be: errNoCounter when the dongle has never
// shown one, ErrTooSlow when it may have been in bytes that the ring dropped,
// ErrStuck when it does not end, ErrBehind when it has not come yet. Only the
// last leaves it owed.
func (r *Receiver) passCounter(ctx context.Context) error {
	limit, bytes := r.o.Lag, 0
	if !r.known {
		limit = max(probe, r.o.Allowance)
		bytes = r.o.AllowanceBytes + r.bytes(limit)
	}
	m, gap := r.owed, false
	start := time.Now()
	for time.Since(start) < limit || bytes > 0 {
		t, err := r.fill(ctx)
		if err != nil {
			return err
		}
		gap = gap || t.Gap
		before := m.seen
		n, past := m.scan(r.have)
		if m.seen && !before {
			start = time.Now() // now it need only end
		}
		r.keep((len(r.have) - n) &^ 1)
		bytes -= t.N
		if past {
			r.known, r.owed = true, nil
			return nil
		}
	}
	switch {
	case m.seen:
		r.known, r.owed = true, nil
		return ErrStuck
	case gap:
		r.owed = nil
		return ErrTooSlow
	case !r.known:
		r.owed = nil
		return errNoCounter
	}
	return fmt.Errorf("%w: more than %v after a retune", ErrBehind, limit)
}

// fill replaces what is at hand by the stream's next bytes.
func (r *Receiver) fill(ctx context.Context) (Taken, error) {
	r.have = nil
	t, err := r.ring.Take(ctx, r.room, r.o.Patience)
	if err != nil {
		return t, err
	}
	r.have = r.room[:t.N]
	r.haveAt = t.Last.Add(-r.span(t.Behind))
	return t, nil
}

// keep keeps only the last n bytes, an even number, of what is at hand.
func (r *Receiver) keep(n int) {
	gone := len(r.have) - n
	r.have = r.have[gone:]
	r.haveAt = r.haveAt.Add(r.span(gone))
}

// Read is tuner.Tuner's. When bytes are lost under way it starts over with
// what follows them, so that a Block never has a gap inside.
func (r *Receiver) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if !r.tuned {
		return tuner.Block{Samples: dst[:0], GainDB: tuner.UnknownGain()},
			errors.New("reading samples: not tuned")
	}
	b := tuner.Block{
		CenterHz: r.now.reached,
		RateHz:   realRate(r.now.rateHz),
		GainDB:   tuner.UnknownGain(),
		Lost:     r.lost,
	}
	if r.now.hasGain {
		b.GainDB = float64(r.now.gain) / 10
	}
	n, overruns := 0, 0
	if err := ctx.Err(); err != nil {
		b.Samples = dst[:0]
		return b, err
	}
	for n < len(dst) {
		if len(r.have) == 0 {
			t, err := r.fill(ctx)
			if err != nil {
				b.Samples = dst[:n]
				return b, err
			}
			if t.Gap {
				if overruns++; overruns > maxOverruns {
					b.Samples = dst[:0]
					return b, ErrTooSlow
				}
				n, b.Clipped, b.Lost = 0, 0, true
			}
		}
		if n == 0 {
			b.Start = r.haveAt
		}
		k, clipped := tuner.FromBytes(dst[n:], r.have)
		n += k
		b.Clipped += clipped
		r.keep(len(r.have) - 2*k)
	}
	b.Samples = dst
	r.lost = false
	return b, nil
}
