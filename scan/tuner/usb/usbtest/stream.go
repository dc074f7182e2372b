package usbtest

import (
	"errors"
	"net"
	"slices"
	"time"

	"rooftone/scan/tuner"
)

// controlTime is what a control transfer takes: two of the bus's microframes.
const controlTime = 250 * time.Microsecond

// chunkSamples is how many samples are made and sent at once.
const chunkSamples = 4096

// catchUp is how late the samples may be and still come faster for it afterwards.
const catchUp = 100 * time.Millisecond

// segment is a time during which a setting held.
type segment struct {
	setting Setting
	samples float64
}

// pass lets time go by under the setting there is. It counts only for who
// streams. The lock is held.
func (d *Device) pass(t time.Duration) {
	if len(d.streams) == 0 || d.now.RateHz == 0 {
		return
	}
	n := t.Seconds() * d.now.RateHz
	if k := len(d.segments); k > 0 && d.segments[k-1].setting == d.now {
		d.segments[k-1].samples += n
		return
	}
	d.segments = append(d.segments, segment{d.now, n})
}

// next returns the setting of the next samples and how many there are of it at
// least, chunkSamples at the most. The lock is held.
func (d *Device) next() (Setting, int) {
	for len(d.segments) > 0 {
		s := &d.segments[0]
		if n := min(int(s.samples), chunkSamples); n > 0 {
			s.samples -= float64(n)
			return s.setting, n
		}
		d.segments = slices.Delete(d.segments, 0, 1)
	}
	return d.now, chunkSamples
}

// Frames, as in libusb.c, and a transfer's status (libusb.h, enum
// libusb_transfer_status).
const (
	frameData = iota
	frameShort
	frameStatus

	statusError    = 1
	statusStall    = 4
	statusOverflow = 6
)

// event is something that happens to a stream between two chunks.
type event struct {
	frame  []byte        // sent
	wait   time.Duration // nothing comes for so long
	lost   time.Duration // and so much is lost
	halt   bool          // nothing comes until the FIFO is emptied
	repeat int           // how often the frame is sent
}

func (d *Device) happen(e event) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.events = append(d.events, e)
}

// Short ends the transfer under way with what has come so far.
func (d *Device) Short() { d.happen(event{frame: words(nil, frameShort, 0), repeat: 1}) }

// Break ends the next n transfers with an error of the bus.
func (d *Device) Break(n int) {
	d.happen(event{frame: words(nil, frameStatus, statusError), repeat: n})
}

// Overflow ends the next n transfers with more data than asked for.
func (d *Device) Overflow(n int) {
	d.happen(event{frame: words(nil, frameStatus, statusOverflow), repeat: n})
}

// Stall halts the endpoint: all of the transfers queued, n, end with that, and
// nothing comes any more until the FIFO is emptied.
func (d *Device) Stall(n int) {
	d.happen(event{frame: words(nil, frameStatus, statusStall), repeat: n, halt: true})
}

// Late lets nothing come for a while. What the dongle made meanwhile is lost but for
// what its FIFO holds, which is next to nothing.
func (d *Device) Late(t time.Duration) { d.happen(event{wait: t, lost: t}) }

// stream sends samples into a connection until that or the device has gone.
func (d *Device) stream(conn net.Conn) {
	d.mu.Lock()
	if d.left {
		d.mu.Unlock()
		return
	}
	d.streams = append(d.streams, conn)
	d.segments = nil
	d.mu.Unlock()
	defer func() {
		d.mu.Lock()
		d.streams = slices.DeleteFunc(d.streams, func(c net.Conn) bool { return c == conn })
		d.mu.Unlock()
	}()
	s := streamer{device: d, conn: conn, due: time.Now()}
	for s.step() == nil {
	}
}

// streamer is a stream under way.
type streamer struct {
	device  *Device
	conn    net.Conn
	due     time.Time // of the next sample, were the computer fast enough
	idle    time.Duration
	count   byte
	samples [chunkSamples]complex64
	bytes   [2 * chunkSamples]byte
}

var errEnd = errors.New("the stream has ended")

func (s *streamer) step() error {
	d := s.device
	d.mu.Lock()
	var e event
	if len(d.events) > 0 {
		e, d.events = d.events[0], d.events[1:]
		d.halted = d.halted || e.halt
	}
	set, n := d.next()
	halted := d.halted || !set.On || set.RateHz == 0
	after := d.fault.UnplugAfterBytes
	unplug := after > 0 && d.bytes >= after
	d.mu.Unlock()
	if unplug {
		d.bus.Unplug(d)
		return errEnd
	}
	if err := s.suffer(e, set); err != nil {
		return err
	}
	if halted {
		return s.sleep(time.Millisecond)
	}
	if err := s.make(set, n); err != nil {
		return err
	}
	d.mu.Lock()
	d.bytes += int64(2 * n)
	d.mu.Unlock()
	if _, err := s.conn.Write(words(s.bytes[:2*n], frameData, uint32(2*n))); err != nil {
		return err
	}
	s.due = s.due.Add(time.Duration(float64(n) / set.RateHz / max(d.Pace, 1) * 1e9))
	// What a busy computer is late by it makes good, but not all at once.
	if behind := time.Since(s.due) - catchUp; behind > 0 {
		s.due = s.due.Add(behind)
	}
	return s.sleep(time.Until(s.due))
}

// suffer lets an event happen.
func (s *streamer) suffer(e event, set Setting) error {
	for range e.repeat {
		if _, err := s.conn.Write(e.frame); err != nil {
			return err
		}
	}
	s.idle += e.lost
	return s.sleep(e.wait)
}

func (s *streamer) sleep(t time.Duration) error {
	if t < time.Millisecond {
		return nil
	}
	select {
	case <-time.After(t):
		return nil
	case <-s.device.gone:
		return errEnd
	}
}

// make makes the next n samples.
func (s *streamer) make(set Setting, n int) error {
	if set.Counter {
		for i := range s.bytes[:2*n] {
			s.bytes[i] = s.count
			s.count++
		}
		s.idle += time.Duration(float64(n) / set.RateHz * 1e9)
		return nil
	}
	x := s.samples[:n]
	clear(x)
	if !set.Locked {
		set = set.loseLock()
	}
	if air := s.device.Air; air != nil {
		if err := air.Hear(set, s.idle, x); err != nil {
			return err
		}
	}
	s.idle = 0
	for i, z := range x {
		re, im := real(z), imag(z)
		if !set.Inverted {
			im = -im
		}
		s.bytes[2*i], s.bytes[2*i+1] = tuner.ToByte(re), tuner.ToByte(im)
	}
	return nil
}
