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
// (Block.Lost); what the USB itself drops is only known by counting, since
// samples carry no number.
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
// # When it goes wrong
//
// A dongle that drops off the USB is looked for again for some 2.5 s, and one that
// sends nothing has its stream started anew, once. What follows says that samples were
// lost (Block.Lost), as it does where a tenth of what should have come in two seconds
// did not.
//
// # What librtlsdr prints
//
// The library writes remarks to the standard error stream by itself ("Found …
// tuner"). One of them is all that it says of a tuner that did not lock. So C's stderr
// is listened to (remarks.go), where that can be: its remarks are kept from the user,
// to whom errors say as much, and anything else is passed on.
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

	// Backoff is how long to wait before each attempt to find a dongle again that
	// dropped off the USB. nil: four attempts within some 2.5 s.
	Backoff []time.Duration

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
	if o.Backoff == nil {
		o.Backoff = usualBackoff()
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
	serial string
	o      Options
	info   tuner.Info
	ring   *dongle.Ring
	stream *stream
	rx     *dongle.Receiver
	pace   dongle.Pace
	tuning tuner.Tuning // the last that was reached
	bias   bool
	left   error // why there is no open dongle any more; nil while there is
	closed bool
}

// Open opens the dongle with the serial number, or the first one when serial
// is empty, and starts its stream. One that drops off the USB while it is used is
// looked for again, by its serial number. Errors are *tuner.Problem or the context's.
func Open(ctx context.Context, serial string, o Options) (tuner.Tuner, error) {
	o = o.withDefaults()
	lib, err := load(o.Library)
	if err != nil {
		return nil, err
	}
	called := name(serial)
	if serial == "" {
		called = "the USB dongle"
	}
	dev, err := lib.openSerial(ctx, serial, called, o)
	if err != nil {
		return nil, err
	}
	if serial == "" {
		serial = dev.serial()
	}
	r := &radio{lib: lib, dev: dev, serial: serial, o: o, bias: o.BiasTee, ring: dongle.NewRing(ringBytes)}
	steps := dev.gains()
	r.info = tuner.Info{
		Name:     name(serial),
		Datatype: dongle.Datatype,
		GainsDB:  dongle.GainsDB(steps),
		Clock:    dongle.Clock(),
	}
	if err := dev.prepare(o.BiasTee); err != nil {
		lib.close(dev.handle)
		return nil, r.problem(lib.orGone(err, called, serial, o))
	}
	r.stream = startStream(r.dev, r.ring)
	r.rx = dongle.NewReceiver(dev, r.ring, steps, dongle.Options{
		Settle:         o.Settle,
		RateSettle:     dongle.RateSettle,
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

// there says whether there is a dongle to do something with.
func (r *radio) there(doing string) error {
	if r.closed {
		return fmt.Errorf("%s %s: %w", doing, r.info.Name, os.ErrClosed)
	}
	return r.left
}

// Tune is tuner.Tuner's.
func (r *radio) Tune(ctx context.Context, to tuner.Tuning) error {
	if err := r.there("tuning"); err != nil {
		return err
	}
	r.pace.Look(r.ring)
	if err := r.again(ctx, func() error { return r.rx.Tune(ctx, to) }); err != nil {
		return err
	}
	r.tuning = to
	r.pace.At(to.RateHz)
	return nil
}

// Read is tuner.Tuner's. What follows a dongle's absence says that something is lost.
func (r *radio) Read(ctx context.Context, dst []complex64) (b tuner.Block, err error) {
	b = tuner.Block{Samples: dst[:0], GainDB: tuner.UnknownGain()}
	if err := r.there("reading from"); err != nil {
		return b, err
	}
	if r.pace.Look(r.ring) {
		r.rx.MarkLost()
	}
	ring := r.ring
	err = r.again(ctx, func() (err error) {
		if r.ring != ring {
			if err := r.rx.Tune(ctx, r.tuning); err != nil {
				return err
			}
			ring = r.ring
			r.rx.MarkLost()
		}
		b, err = r.rx.Read(ctx, dst)
		return err
	})
	return b, err
}

// SetBiasTee switches the voltage on the antenna socket, if the dongle has one
// to switch. Close switches it off.
func (r *radio) SetBiasTee(on bool) error {
	if err := r.there("switching the bias tee of"); err != nil {
		return err
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
	if r.left != nil {
		return nil // it is gone already
	}
	return r.release()
}
