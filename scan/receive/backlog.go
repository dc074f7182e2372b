package receive

import (
	"sync"
	"time"

	"rooftone/scan/tuner"
)

const (
	// backlogTime is how much may wait to be received. It outlasts what else a
	// computer may have to do for a moment, and makes what is heard of a channel that
	// is too much for it long beside what finding lock takes.
	backlogTime = 750 * time.Millisecond

	// A radio gives no more than time goes by, but for what it had kept and what its
	// clock is off: slackTime in each paceTime. What gives more can wait.
	paceTime  = 10 * time.Second
	slackTime = 500 * time.Millisecond
)

// Backlog stands between a radio, which does not wait, and the receiver, which may be
// slower. What comes is kept until the receiver is free. Where too much waits, all that
// comes is left out until the receiver has none left, and the next block says how much:
// so what is received is in long pieces. A source that would wait is made to.
//
// Put and Close are called from one goroutine; deliver is from another.
type Backlog struct {
	deliver Deliver
	now     func() time.Time
	done    chan struct{} // when there will be no more calls of deliver

	mu      sync.Mutex
	changed sync.Cond
	waiting []waiting
	free    [][]complex64
	length  time.Duration // of what waits
	busy    bool          // with one that does not wait any more
	closed  bool
	failure error // of deliver

	full    bool // all that comes is left out
	skipped time.Duration
	lost    bool // of what was left out
	since   time.Time
	given   time.Duration // since then
}

type waiting struct {
	block tuner.Block
	fresh bool
}

// NewBacklog returns a backlog that delivers. It must be closed.
func NewBacklog(deliver Deliver) *Backlog { return newBacklog(deliver, time.Now) }

func newBacklog(deliver Deliver, now func() time.Time) *Backlog {
	b := &Backlog{deliver: deliver, now: now, done: make(chan struct{})}
	b.changed.L = &b.mu
	go b.work()
	return b
}

// length is the time that a block's samples took.
func length(b tuner.Block) time.Duration {
	return time.Duration(float64(len(b.Samples)) / b.RateHz * float64(time.Second))
}

// Put takes a copy of a block. Its error is the one that deliver had.
func (b *Backlog) Put(block tuner.Block, fresh bool) error {
	long := length(block)
	b.mu.Lock()
	defer b.mu.Unlock()
	live := b.live(long)
	for b.length+long > backlogTime && len(b.waiting) > 0 && !live && b.failure == nil {
		b.changed.Wait()
	}
	switch {
	case b.failure != nil:
		return b.failure
	case b.full && (b.busy || len(b.waiting) > 0), live && b.length+long > backlogTime && len(b.waiting) > 0:
		b.full = true
		b.skipped += long
		b.lost = b.lost || block.Lost
		return nil
	}
	block.Skipped, block.Lost = b.skipped, block.Lost || b.lost
	b.full, b.skipped, b.lost = false, 0, false
	block.Samples = append(b.room(), block.Samples...)
	b.waiting = append(b.waiting, waiting{block, fresh})
	b.length += long
	b.changed.Broadcast()
	return nil
}

// live notes that so much was given, and tells whether it may have come as time goes by.
func (b *Backlog) live(long time.Duration) bool {
	now := b.now()
	if b.since.IsZero() || now.Sub(b.since) > paceTime {
		b.since, b.given = now, 0
	}
	b.given += long
	return b.given < now.Sub(b.since)+slackTime
}

// room returns memory for samples.
func (b *Backlog) room() []complex64 {
	n := len(b.free)
	if n == 0 {
		return nil
	}
	r := b.free[n-1]
	b.free = b.free[:n-1]
	return r[:0]
}

// work delivers what waits.
func (b *Backlog) work() {
	defer close(b.done)
	for {
		w, ok := b.next()
		if !ok {
			return
		}
		err := b.deliver(w.block, w.fresh)
		b.mu.Lock()
		b.busy = false
		b.free = append(b.free, w.block.Samples)
		if err != nil {
			b.failure = err
		}
		b.changed.Broadcast()
		b.mu.Unlock()
	}
}

// next waits for a block. There is none when the backlog was closed, or after an error.
func (b *Backlog) next() (w waiting, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for len(b.waiting) == 0 && !b.closed && b.failure == nil {
		b.changed.Wait()
	}
	if len(b.waiting) == 0 || b.failure != nil {
		return w, false
	}
	w = b.waiting[0]
	b.waiting = append(b.waiting[:0], b.waiting[1:]...)
	b.length -= length(w.block)
	b.busy = true
	b.changed.Broadcast()
	return w, true
}

// Close returns when all that waits was delivered, with how much was left out since the
// last block, and the error that deliver had.
func (b *Backlog) Close() (skipped time.Duration, err error) {
	b.mu.Lock()
	b.closed = true
	b.changed.Broadcast()
	b.mu.Unlock()
	<-b.done
	return b.skipped, b.failure
}
