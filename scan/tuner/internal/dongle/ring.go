package dongle

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// ErrStalled is a stream that is still there but brings nothing.
var ErrStalled = errors.New("no samples")

// Ring holds the newest bytes of a stream between the goroutine that receives
// them and the one that reads them. The receiver never waits: when the reader
// is so late that the ring is full, all that is in it is dropped and the next
// Take says so.
//
// Bytes are I/Q pairs, counted from the start of the stream; a Ring only ever
// drops and hands out whole pairs, so that I stays I.
type Ring struct {
	mu             sync.Mutex
	buf            []byte
	taken, written uint64 // bytes since the start; taken is even
	gap            bool
	last           time.Time // when the newest byte came
	err            error
	wake           chan struct{}
}

// NewRing returns a Ring for up to size bytes, an even number.
func NewRing(size int) *Ring {
	return &Ring{buf: make([]byte, size&^1), wake: make(chan struct{}, 1)}
}

// Write adds p to the stream. It never waits and never fails.
func (r *Ring) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	n := len(p)
	if r.written+uint64(n)-r.taken > uint64(len(r.buf)) {
		// What is kept must itself be without a gap, so all the old goes. The
		// first half of a pair that p completes goes with it.
		end := r.written + uint64(n)
		r.taken = (r.written + 1) &^ 1
		if over := int64(end-r.taken) - int64(len(r.buf)); over > 0 {
			r.taken += (uint64(over) + 1) &^ 1
		}
		p = p[min(uint64(n), r.taken-r.written):]
		r.written = end - uint64(len(p))
		r.gap = true
	}
	at := int(r.written % uint64(len(r.buf)))
	k := copy(r.buf[at:], p)
	copy(r.buf, p[k:])
	r.written += uint64(len(p))
	r.last = time.Now()
	r.signal()
	return n, nil
}

// End says that nothing more will come, and why. Only the first call counts.
func (r *Ring) End(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil {
		r.err = err
	}
	r.signal()
}

func (r *Ring) signal() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// Skip drops what is in the ring and forgets about gaps before it.
func (r *Ring) Skip() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.taken = r.written &^ 1
	r.gap = false
}

// Written returns how many bytes the stream has brought since it began.
func (r *Ring) Written() uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.written
}

// Taken is what Take returns.
type Taken struct {
	N      int       // bytes, even
	Gap    bool      // bytes are missing just before these
	Last   time.Time // when the newest byte of the stream came
	Behind int       // how many bytes lie from the first of these to that
}

// Take moves up to len(dst) of the oldest bytes into dst. It waits until there
// is at least one pair, the stream has ended (the error that End was given),
// the context has (its error) or patience passes without one (ErrStalled).
func (r *Ring) Take(ctx context.Context, dst []byte, patience time.Duration) (Taken, error) {
	if err := ctx.Err(); err != nil {
		return Taken{}, err
	}
	var late <-chan time.Time
	for {
		t, err := r.take(dst)
		if t.N > 0 || err != nil {
			return t, err
		}
		if late == nil {
			timer := time.NewTimer(patience)
			defer timer.Stop()
			late = timer.C
		}
		select {
		case <-r.wake:
		case <-ctx.Done():
			return Taken{}, ctx.Err()
		case <-late:
			return Taken{}, fmt.Errorf("%w for %v", ErrStalled, patience)
		}
	}
}

func (r *Ring) take(dst []byte) (Taken, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	behind := int(int64(r.written - r.taken))
	n := min(len(dst), behind) &^ 1
	if n <= 0 {
		return Taken{}, r.err
	}
	at := int(r.taken % uint64(len(r.buf)))
	k := copy(dst[:n], r.buf[at:])
	copy(dst[k:n], r.buf)
	r.taken += uint64(n)
	t := Taken{N: n, Gap: r.gap, Last: r.last, Behind: behind}
	r.gap = false
	return t, nil
}
