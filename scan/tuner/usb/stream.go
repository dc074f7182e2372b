package usb

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"time"
	"unsafe"

	"github.com/ebitengine/purego"

	"rooftone/scan/tuner/internal/dongle"
)

// The USB queue: librtlsdr wants buffers in multiples of 16 KiB.
const (
	queueBuffers = 32
	bufferBytes  = 32 << 10
	queueBytes   = queueBuffers * bufferBytes
)

// ringBytes holds 0.9 s at 2.4 MS/s.
const ringBytes = 4 << 20

// endedError is a stream that ended by itself, and what rtlsdr_read_async
// returned.
type endedError struct{ rc int32 }

func (e *endedError) Error() string {
	return fmt.Sprintf("the sample stream ended (librtlsdr says %d)", e.rc)
}

// stream is a running rtlsdr_read_async.
type stream struct {
	dev  device
	done chan struct{} // closed when it has returned
}

// startStream starts receiving the dongle's samples into ring.
func startStream(dev device, ring *dongle.Ring) *stream {
	s := &stream{dev: dev, done: make(chan struct{})}
	id := receivers.add(ring)
	go func() {
		// The call lasts as long as the stream does and the callback comes
		// from within it.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		rc := dev.lib.readAsync(dev.handle, callback(), id, queueBuffers, bufferBytes)
		receivers.remove(id)
		ring.End(&endedError{rc})
		close(s.done)
	}()
	return s
}

// ended says whether the stream has ended.
func (s *stream) ended() bool { return s.endsWithin(0) }

// endsWithin says whether the stream has ended or does so soon. A nil stream
// has not begun.
func (s *stream) endsWithin(d time.Duration) bool {
	if s == nil {
		return false
	}
	select {
	case <-s.done:
		return true
	default:
	}
	select {
	case <-s.done:
		return true
	case <-time.After(d):
		return false
	}
}

// stop ends the stream.
func (s *stream) stop(ctx context.Context) error {
	for {
		// Cancelling is refused before rtlsdr_read_async has begun, so once
		// may not be enough.
		s.dev.lib.cancelAsync(s.dev.handle)
		if s.endsWithin(20 * time.Millisecond) {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

// callback returns the C function that librtlsdr calls with each buffer. A
// process can make a limited number of those and never give one back, so it
// is always the same; its last argument says whose buffer it is.
var callback = sync.OnceValue(func() uintptr {
	return purego.NewCallback(func(buf unsafe.Pointer, n uint32, id uintptr) uintptr {
		if ring := receivers.get(id); ring != nil && n > 0 {
			ring.Write(unsafe.Slice((*byte)(buf), n))
		}
		return 0
	})
})

// receivers are the rings of the streams that run, by the number that goes
// through C in place of a pointer.
var receivers registry

type registry struct {
	mu   sync.Mutex
	next uintptr
	to   map[uintptr]*dongle.Ring
}

func (r *registry) add(ring *dongle.Ring) uintptr {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.to == nil {
		r.to = make(map[uintptr]*dongle.Ring)
	}
	r.next++
	r.to[r.next] = ring
	return r.next
}

func (r *registry) remove(id uintptr) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.to, id)
}

func (r *registry) get(id uintptr) *dongle.Ring {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.to[id]
}
