package soapy

import (
	"fmt"
	"runtime"
	"sync/atomic"
	"time"
	"unsafe"
)

// What readStream returns besides a number of samples (Errors.h), and its flags
// (Constants.h).
const (
	saysTimeout     = -1
	saysStreamError = -2
	saysCorruption  = -3
	saysOverflow    = -4
	saysTimeError   = -6

	flagHasTime   = 1 << 2
	flagEndAbrupt = 1 << 3
)

const (
	// readTimeout is how long the library waits for samples in one call.
	readTimeout = 100 * time.Millisecond
	// breath is waited after a call that brought nothing, lest a driver that has
	// nothing to say takes a processor.
	breath = time.Millisecond
	// lastErrors in a row end a stream.
	lastErrors = 5
)

// endedError is a stream that ended by itself, and what the library said.
type endedError struct {
	code int32
	said string
}

func (e *endedError) Error() string {
	if e.said != "" {
		return fmt.Sprintf("the sample stream ended (%s)", e.said)
	}
	return fmt.Sprintf("the sample stream ended (SoapySDR says %d)", e.code)
}

// stream is a goroutine that takes what a radio's stream brings into a ring.
type stream struct {
	lib         *library
	dev, handle uintptr
	ring        *ring
	format      format
	most        int // samples taken in one call
	rateHz      float64

	stopping atomic.Bool
	done     chan struct{}
	// overflows counts those since samples came last.
	overflows atomic.Int64
}

// start receives an activated stream's samples into the ring.
func (s *stream) start() {
	s.done = make(chan struct{})
	go func() {
		defer close(s.done)
		// What the library has to say of an error is kept by thread.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		s.run()
	}()
}

// stop ends it, and says whether it has ended within a time.
func (s *stream) stop(limit time.Duration) bool {
	s.stopping.Store(true)
	select {
	case <-s.done:
		return true
	case <-time.After(limit):
		return false
	}
}

func (s *stream) run() {
	buffer := make([]byte, s.most*s.format.size)
	var pin runtime.Pinner
	defer pin.Unpin()
	pin.Pin(&buffer[0])
	buffers := []unsafe.Pointer{unsafe.Pointer(&buffer[0])}
	f := follower{rateHz: s.rateHz, begins: true}
	flags, ns := new(int32), new(int64)
	for failed := 0; !s.stopping.Load(); {
		*flags, *ns = 0, 0
		rc := s.lib.readStream(s.dev, s.handle, unsafe.Pointer(&buffers[0]), uintptr(s.most), flags, ns, int(readTimeout.Microseconds()))
		switch {
		case rc > 0 && int(rc) <= s.most:
			failed = 0
			s.overflows.Store(0)
			begins, next := f.follow(int(rc), *flags, *ns)
			s.ring.write(buffer[:int(rc)*s.format.size], begins, next)
			continue
		case rc == 0, rc == saysTimeout:
		case rc == saysOverflow, rc == saysCorruption, rc == saysTimeError:
			f.lose()
			s.overflows.Add(1)
		default:
			if failed++; failed >= lastErrors {
				said := ""
				if s.lib.lastStatus() != 0 {
					said = s.lib.lastError()
				}
				s.ring.end(&endedError{rc, said})
				return
			}
			f.lose()
		}
		time.Sleep(breath)
	}
}

// follower knows what should come next in a stream, from what came.
type follower struct {
	rateHz float64
	begins bool // the next samples do not follow the last ones
	gap    bool // because some between them were lost

	timed  bool // the last samples had a time
	nextNS int64
	odd    int  // samples in a row whose time did not follow
	vain   bool // the times are not those of the samples
}

// lose says that samples were lost.
func (f *follower) lose() { f.begins, f.gap = true, true }

// follow takes n samples in and says whether a new stretch begins with them. A
// time that does not follow the last one means that some are missing. Where it
// never does, the driver takes its times from another clock, and they are not
// looked at any more.
func (f *follower) follow(n int, flags int32, ns int64) (begins bool, next stretch) {
	const (
		toleranceNS  = 2000
		oddInARow    = 4
		nanoseconds  = 1e9
		stepsOfClock = 3 // samples
	)
	timed := flags&flagHasTime != 0 && !f.vain
	if timed && f.timed && !f.begins {
		off := ns - f.nextNS
		if off < 0 {
			off = -off
		}
		if float64(off) > max(toleranceNS, stepsOfClock*nanoseconds/f.rateHz) {
			if f.odd++; f.odd >= oddInARow {
				f.vain, timed = true, false
			}
			f.lose()
		} else {
			f.odd = 0
		}
	}
	if f.timed && !timed {
		f.begins = true // what follows has no time
	}
	begins, next = f.begins, stretch{gap: f.gap, timed: timed, ns: ns}
	f.begins, f.gap = false, false
	f.timed = timed
	f.nextNS = ns + int64(float64(n)*nanoseconds/f.rateHz+0.5)
	if flags&flagEndAbrupt != 0 {
		f.lose()
	}
	return begins, next
}
