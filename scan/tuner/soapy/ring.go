package soapy

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"
)

// errStalled is a stream that is still there but brings nothing.
var errStalled = errors.New("no samples")

// ring holds the newest samples of a stream, as the driver gave them, between the
// goroutine that receives them and the one that reads them. The receiver never
// waits: when the reader is so late that the ring is full, all that is in it is
// dropped. Where samples are missing, for that or another reason, a new stretch
// begins, and what is taken out at once lies in one stretch.
type ring struct {
	size int // bytes in a sample

	mu             sync.Mutex
	buf            []byte
	room           uint64    // samples that fit into buf
	taken, written uint64    // samples since the start
	stretches      []stretch // the first holds taken, if anything is there
	last           time.Time // when the newest sample came
	err            error
	wake           chan struct{}
}

// stretch is a run of samples without a gap.
type stretch struct {
	at    uint64 // the number of its first sample
	gap   bool   // samples are missing just before it
	timed bool
	ns    int64 // of its first sample by the radio's clock, when timed
}

// newRing returns a ring for so many samples of so many bytes.
func newRing(samples, size int) *ring {
	return &ring{size: size, buf: make([]byte, samples*size), room: uint64(samples), wake: make(chan struct{}, 1)}
}

// write adds samples to the stream. begins says that they do not follow the last
// ones, and next what is known of the first of them.
func (r *ring) write(p []byte, begins bool, next stretch) {
	r.mu.Lock()
	defer r.mu.Unlock()
	n := uint64(len(p) / r.size)
	if begins || len(r.stretches) == 0 {
		next.at = r.written
		r.stretches = append(r.stretches, next)
	}
	if r.written+n-r.taken > r.room {
		// What is kept must itself be without a gap, so all the old goes. Where
		// one stretch was left, its time still counts from its first sample.
		last := r.stretches[len(r.stretches)-1]
		last.gap = true
		r.stretches = append(r.stretches[:0], last)
		r.taken = r.written
		if over := n - min(n, r.room); over > 0 {
			p = p[over*uint64(r.size):]
			r.taken += over
			r.written += over
			n = r.room
		}
	}
	at := int(r.written%r.room) * r.size
	k := copy(r.buf[at:], p)
	copy(r.buf, p[k:])
	r.written += n
	r.last = time.Now()
	r.signal()
}

// end says that nothing more will come, and why. Only the first call counts.
func (r *ring) end(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil {
		r.err = err
	}
	r.signal()
}

func (r *ring) signal() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// skip drops what is in the ring, up to a sample's number at the most, and forgets
// about gaps before what follows.
func (r *ring) skip(to uint64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.taken = max(r.taken, min(to, r.written))
	r.prune()
	if len(r.stretches) > 0 && r.stretches[0].at <= r.taken {
		r.stretches[0].gap = false
	}
}

// prune forgets the stretches that were taken.
func (r *ring) prune() {
	for len(r.stretches) > 1 && r.stretches[1].at <= r.taken {
		r.stretches = append(r.stretches[:0], r.stretches[1:]...)
	}
}

// state returns how many samples the stream has brought, the newest stretch, and
// how it ended if it has.
func (r *ring) state() (written uint64, newest stretch, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if n := len(r.stretches); n > 0 {
		newest = r.stretches[n-1]
	}
	return r.written, newest, r.err
}

// got is what take returns.
type got struct {
	n    int    // samples
	at   uint64 // the number of the first
	gap  bool   // samples are missing just before these
	from stretch
	last time.Time // when the newest sample of the stream came
	lag  uint64    // samples from the first of these to that
}

// take moves up to len(dst)/size of the oldest samples into dst, all of one
// stretch. It waits until there is at least one, the stream has ended (the error
// that end was given), the context has (its error) or patience passes without one
// (errStalled).
func (r *ring) take(ctx context.Context, dst []byte, patience time.Duration) (got, error) {
	var g got
	err := r.wait(ctx, patience, func() bool {
		g = r.grab(dst)
		return g.n > 0
	})
	return g, err
}

// await waits until the stream has brought so many samples in all.
func (r *ring) await(ctx context.Context, written uint64, patience time.Duration) error {
	return r.wait(ctx, patience, func() bool { return r.written >= written })
}

// wait waits until done, called with the lock held, says so, as long as something
// comes at least every patience.
func (r *ring) wait(ctx context.Context, patience time.Duration, done func() bool) error {
	late := time.NewTimer(patience)
	defer late.Stop()
	var seen uint64
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		r.mu.Lock()
		over, err, written := done(), r.err, r.written
		r.mu.Unlock()
		if over {
			return nil
		}
		if err != nil {
			return err
		}
		if written != seen {
			late.Reset(patience)
			seen = written
		}
		select {
		case <-r.wake:
		case <-ctx.Done():
			return ctx.Err()
		case <-late.C:
			return fmt.Errorf("%w for %v", errStalled, patience)
		}
	}
}

// grab is called with the lock held.
func (r *ring) grab(dst []byte) got {
	r.prune()
	end := r.written
	if len(r.stretches) > 1 {
		end = r.stretches[1].at
	}
	n := min(uint64(len(dst)/r.size), end-r.taken)
	if n == 0 {
		return got{}
	}
	at := int(r.taken%r.room) * r.size
	k := copy(dst[:int(n)*r.size], r.buf[at:])
	copy(dst[k:int(n)*r.size], r.buf)
	g := got{n: int(n), at: r.taken, gap: r.stretches[0].gap, from: r.stretches[0], last: r.last, lag: r.written - r.taken}
	r.stretches[0].gap = false
	r.taken += n
	return g
}

// sampleAt returns the number of the sample that a stretch has at a time by the
// radio's clock, and false where that cannot be said.
func (s stretch) sampleAt(ns int64, rateHz float64) (uint64, bool) {
	if !s.timed {
		return 0, false
	}
	at := math.Ceil(float64(ns-s.ns) * 1e-9 * rateHz)
	if at < 0 {
		return s.at, true
	}
	return s.at + uint64(at), true
}
