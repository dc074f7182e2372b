// Package usb is the tuner in a USB dongle with an RTL2832 chip.
//
// It uses librtlsdr, which is loaded when a dongle is asked for and not
// before, so the program runs without it. There is no cgo in this.
//
// # How samples are read
//
// By rtlsdr_read_async, in a goroutine of its own that stays in the library
// for as long as the dongle is open. The alternative, rtlsdr_read_sync, has
// nothing in the USB queue between two calls, loses samples when the second
// comes late without a trace of it, and has no timeout: a dongle that hangs
// hangs the program. The asynchronous call keeps 32 buffers of 32 KiB queued
// (218 ms at 2.4 MS/s, in units of 6.8 ms), and its callback only copies into
// a ring. What the ring has to drop because nobody reads is known
// (Block.Lost); what the USB itself drops is not, since samples carry no
// number.
//
// The callback is one for the whole process, since those that are made cannot
// be unmade; which dongle it serves comes with each call.
//
// A retune is separated from what was under way before it by the dongle's
// counter, see internal/dongle. The dongle's FIFO is therefore not reset at a
// retune (rtlsdr_reset_buffer, which under a running stream could part I from
// Q), only before the stream starts. Should a dongle not show its counter,
// the whole queue is passed over instead.
//
// # What librtlsdr prints
//
// The library writes remarks to the standard error stream by itself ("Found …
// tuner"). Nothing here can stop that.
package usb

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

// What can be wrong with a USB dongle. Each comes in a *tuner.Problem.
var (
	ErrNoLibrary    = errors.New("librtlsdr not found")
	ErrBadLibrary   = errors.New("librtlsdr not usable")
	ErrNoDevice     = errors.New("no USB dongle")
	ErrBusy         = errors.New("USB dongle in use")
	ErrKernelDriver = errors.New("USB dongle held by a kernel driver")
	ErrNoPermission = errors.New("no permission to use the USB dongle")
	ErrRefused      = errors.New("USB dongle refused a command")
	ErrUnplugged    = errors.New("USB dongle unplugged")
	ErrStalled      = errors.New("USB dongle stalled")
	ErrTooSlow      = errors.New("computer too slow for the sample rate")
)

// LibraryEnv is the environment variable that names the library to load.
const LibraryEnv = "ROOFTONE_LIBRTLSDR"

// Options say how to use dongles. The zero value asks for the defaults.
type Options struct {
	// Library is the path of librtlsdr. "": what LibraryEnv says, or else the
	// usual names in the usual places.
	Library string

	// BiasTee puts the voltage on the antenna socket that feeds an amplifier,
	// for as long as the dongle is open. It is switched off otherwise.
	BiasTee bool

	// Timeout is how long to wait for the next sample, and for the library to
	// let go of the dongle. 0: 3 s.
	Timeout time.Duration

	// Settle is passed over after a retune for the tuner's oscillator to
	// settle. 0: 3 ms.
	Settle time.Duration

	// NoCounter passes over the whole queue at a retune instead of looking
	// for the counter.
	NoCounter bool

	sysfs string // where /sys is, for tests
}

func (o Options) withDefaults() Options {
	if o.Library == "" {
		o.Library = os.Getenv(LibraryEnv)
	}
	if o.Timeout <= 0 {
		o.Timeout = 3 * time.Second
	}
	if o.Settle <= 0 {
		o.Settle = 3 * time.Millisecond
	}
	if o.sysfs == "" {
		o.sysfs = "/sys"
	}
	return o
}

// Device is a dongle that is plugged in.
type Device struct {
	Name         string // librtlsdr's name for the model
	Manufacturer string // as the dongle says itself, as are the next two
	Product      string
	Serial       string

	// Problem is why the dongle could not be asked for its strings, a
	// *tuner.Problem; nil when it could.
	Problem error
}

// List returns the dongles that are plugged in, none without an error when
// there are none. Its error is a *tuner.Problem.
func List(o Options) ([]Device, error) {
	o = o.withDefaults()
	lib, err := load(o.Library)
	if err != nil {
		return nil, err
	}
	return lib.list(o), nil
}

func (lib *library) list(o Options) []Device {
	var out []Device
	for i := range lib.deviceCount() {
		d := Device{Name: lib.deviceName(i)}
		var maker, product, serial [256]byte // sizes of rtl-sdr.h
		if rc := lib.usbStrings(i, &maker[0], &product[0], &serial[0]); rc == 0 {
			d.Manufacturer, d.Product, d.Serial = text(maker[:]), text(product[:]), text(serial[:])
		} else {
			d.Problem = openProblem(rc, fmt.Sprintf("USB dongle %d (%s)", i+1, d.Name), o.sysfs)
		}
		out = append(out, d)
	}
	return out
}

// find returns the index of the dongle with the serial number, or of the first
// when none is asked for.
func (lib *library) find(serial string, o Options) (uint32, error) {
	n := lib.deviceCount()
	if n == 0 {
		return 0, &tuner.Problem{
			What: "no USB dongle is plugged in",
			Hint: "plug one in, try another USB socket, or name another source such as tcp://HOST:PORT or sim:NAME",
			Err:  ErrNoDevice,
		}
	}
	if serial == "" {
		return 0, nil
	}
	var there string
	var silent error
	for i, d := range lib.list(o) {
		if d.Problem == nil && d.Serial == serial {
			return uint32(i), nil
		}
		if d.Problem != nil {
			silent = d.Problem
			continue
		}
		there += fmt.Sprintf(", usb:%s", d.Serial)
	}
	if there == "" && silent != nil {
		return 0, silent
	}
	return 0, &tuner.Problem{
		What: fmt.Sprintf("no USB dongle with the serial number %q is plugged in", serial),
		Hint: "use one that is there" + there,
		Err:  errors.Join(ErrNoDevice, silent),
	}
}

// text returns the zero-terminated string in b.
func text(b []byte) string {
	for i, c := range b {
		if c == 0 {
			return string(b[:i])
		}
	}
	return string(b)
}

// radio is the tuner.Tuner that Open returns. It is also a tuner.BiasTee.
type radio struct {
	lib    *library
	dev    device
	o      Options
	info   tuner.Info
	ring   *dongle.Ring
	stream *stream
	rx     *dongle.Receiver
	bias   bool
	closed bool
}

// Open opens the dongle with the serial number, or the first one when serial
// is empty, and starts its stream. Errors are *tuner.Problem or the context's.
func Open(ctx context.Context, serial string, o Options) (tuner.Tuner, error) {
	o = o.withDefaults()
	lib, err := load(o.Library)
	if err != nil {
		return nil, err
	}
	index, err := lib.find(serial, o)
	if err != nil {
		return nil, err
	}
	called := name(serial)
	if serial == "" {
		called = "the USB dongle"
	}
	dev, err := lib.openDevice(ctx, index, called, o)
	if err != nil {
		return nil, err
	}
	if serial == "" {
		var b [256]byte
		if lib.deviceStrings(dev.handle, nil, nil, &b[0]) == 0 {
			serial = text(b[:])
		}
	}
	r := &radio{lib: lib, dev: dev, o: o, ring: dongle.NewRing(ringBytes)}
	steps := dev.gains()
	r.info = tuner.Info{
		Name:     name(serial),
		Datatype: dongle.Datatype,
		GainsDB:  dongle.GainsDB(steps),
		Clock:    dongle.Clock(),
	}
	if err := dev.prepare(o.BiasTee); err != nil {
		lib.close(dev.handle)
		return nil, r.problem(err)
	}
	r.bias = o.BiasTee
	r.stream = startStream(dev, r.ring)
	r.rx = dongle.NewReceiver(dev, r.ring, steps, dongle.Options{
		Settle:         o.Settle,
		AllowanceBytes: queueBytes,
		Patience:       o.Timeout,
		Lag:            o.Timeout,
		NoCounter:      o.NoCounter,
		Chip:           dongle.Chip(lib.tunerType(dev.handle)),
	})
	return r, nil
}

func name(serial string) string {
	if serial == "" {
		return "usb"
	}
	return "usb:" + serial
}

// Info returns what does not change.
func (r *radio) Info() tuner.Info { return r.info }

// Tune is tuner.Tuner's.
func (r *radio) Tune(ctx context.Context, to tuner.Tuning) error {
	if r.closed {
		return fmt.Errorf("tuning %s: %w", r.info.Name, os.ErrClosed)
	}
	return r.problem(r.rx.Tune(ctx, to))
}

// Read is tuner.Tuner's.
func (r *radio) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if r.closed {
		return tuner.Block{Samples: dst[:0], GainDB: tuner.UnknownGain()},
			fmt.Errorf("reading from %s: %w", r.info.Name, os.ErrClosed)
	}
	b, err := r.rx.Read(ctx, dst)
	return b, r.problem(err)
}

// SetBiasTee switches the voltage on the antenna socket, if the dongle has one
// to switch. Close switches it off.
func (r *radio) SetBiasTee(on bool) error {
	if r.closed {
		return fmt.Errorf("switching the bias tee of %s: %w", r.info.Name, os.ErrClosed)
	}
	if err := r.dev.setBiasTee(on); err != nil {
		return r.problem(err)
	}
	r.bias = on
	return nil
}

// Close gives the dongle back. When the library does not let go of it in time
// it is left to its fate and the error says so.
func (r *radio) Close() error {
	if r.closed {
		return nil
	}
	r.closed = true
	ctx, cancel := context.WithTimeout(context.Background(), r.o.Timeout)
	defer cancel()
	err := r.rx.Wait(ctx)
	if err == nil && r.bias && !r.stream.ended() {
		r.dev.setBiasTee(false)
	}
	if err == nil {
		err = r.stream.stop(ctx)
	}
	if err == nil {
		err = within(ctx, func() { r.lib.close(r.dev.handle) })
	}
	if err != nil {
		return &tuner.Problem{
			What: fmt.Sprintf("the library does not let go of %s", r.info.Name),
			Hint: "unplug the dongle and plug it in again",
			Err:  errors.Join(ErrStalled, err),
		}
	}
	return nil
}

// within runs f and waits for it, but not for longer than the context.
func within(ctx context.Context, f func()) error {
	done := make(chan struct{})
	go func() { f(); close(done) }()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
