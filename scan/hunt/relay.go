package hunt

import (
	"context"
	"io"

	"rooftone/scan/tuner"
)

// relay plays what a radio hears to whoever reads a Playlist, as a recording of
// it would be played. So what a hunt with a radio concludes from is what a hunt
// in its recording does, sample for sample. Blocks are not copied until they
// are read: add waits for that.
type relay struct {
	info  tuner.Info
	heard chan relayed
	taken chan struct{} // one for each block of heard
	done  chan struct{} // closed when nobody reads any more

	now  relayed // what is being read
	rest []complex64
	held bool // the block's memory is not the adder's again yet
	next bool // now begins a stay that Next has not told of yet
	end  bool // nothing follows
}

// relayed is a block, and whether a stay begins with it.
type relayed struct {
	tuner.Block
	first bool
}

func newRelay(info tuner.Info) *relay {
	return &relay{info: info, heard: make(chan relayed), taken: make(chan struct{}), done: make(chan struct{})}
}

// add hands on a block and returns when its memory is the caller's again.
func (r *relay) add(b tuner.Block, newStay bool) {
	select {
	case r.heard <- relayed{b, newStay}:
	case <-r.done:
		return
	}
	select {
	case <-r.taken:
	case <-r.done:
	}
}

// stop says that nothing follows.
func (r *relay) stop() { close(r.heard) }

// Info implements tuner.Playlist.
func (r *relay) Info() tuner.Info { return r.info }

// Close implements tuner.Playlist: add waits for nobody any more.
func (r *relay) Close() error {
	close(r.done)
	return nil
}

// receive waits for the next block, and gives back the one before.
func (r *relay) receive() {
	if r.held {
		r.held = false
		r.taken <- struct{}{}
	}
	b, ok := <-r.heard
	r.now, r.rest, r.held = b, b.Samples, ok
	r.next, r.end = ok && b.first, !ok
}

// Next implements tuner.Playlist.
func (r *relay) Next(context.Context) (tuner.Stay, error) {
	for !r.next && !r.end {
		r.receive()
	}
	if r.end {
		return tuner.Stay{}, io.EOF
	}
	r.next = false
	return tuner.Stay{CenterHz: r.now.CenterHz, RateHz: r.now.RateHz, GainDB: r.now.GainDB, Start: r.now.Start}, nil
}

// Read implements tuner.Playlist.
func (r *relay) Read(_ context.Context, dst []complex64) (tuner.Block, error) {
	for len(r.rest) == 0 && !r.next && !r.end {
		r.receive()
	}
	if r.next || r.end { // and again whenever it is asked, until Next
		return tuner.Block{}, io.EOF
	}
	b := r.now.Block
	n := copy(dst, r.rest)
	b.Samples, r.rest = dst[:n], r.rest[n:]
	// What is told of a block as a whole is told once.
	r.now.Clipped, r.now.Lost = 0, false
	return b, nil
}
