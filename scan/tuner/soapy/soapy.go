// Package soapy is the tuner in any radio that SoapySDR has a module for.
//
// It uses libSoapySDR 0.8, which is loaded when such a radio is asked for and not
// before, so the program runs without it. There is no cgo in this. The modules are
// the library's own matter: it finds and loads them.
//
// # How samples are read
//
// A goroutine of its own asks the library for samples all the time and puts them,
// as the driver gives them, into a ring; what the ring has to drop because nobody
// reads is known (Block.Lost). So is what the driver says that it lost, and what is
// missing by the times that it puts on samples.
//
// # Never two tunings in one block
//
// What is under way in a driver when it is sent elsewhere belongs to the old
// tuning. Where samples have times, all of them up to the radio's own time after
// the last command are passed over, and the settling time, and what the driver
// hands over at once: some tell only the time of their last buffer. Where they have
// none, twice that is passed over of what comes after the last command, and
// allowance for a network where there is one. What a network still holds back
// beyond that cannot be known.
package soapy

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"
	"unsafe"

	"rooftone/scan/tuner"
)

// LibraryEnv is the environment variable that names the library to load.
const LibraryEnv = "ROOFTONE_LIBSOAPYSDR"

// Options say how to use radios. The zero value asks for the defaults.
type Options struct {
	// Library is the path of libSoapySDR. "": what LibraryEnv says, or else the
	// usual names in the usual places.
	Library string

	// Timeout is how long to wait for the next sample, and for the library to let
	// go of the radio. 0: 1.5 s.
	Timeout time.Duration

	// CommandTimeout is how long the commands of one retune may take. 0: 3.5 s:
	// some radios calibrate themselves for each sample rate.
	CommandTimeout time.Duration

	// OpenTimeout is how long finding and opening may take. 0: 15 s.
	OpenTimeout time.Duration

	// Backoff is how long to wait before each attempt to find a radio again that
	// has gone in the middle of something. nil: for some two seconds.
	Backoff []time.Duration

	// Settle is passed over after a retune for the oscillator to settle. 0: 3 ms.
	Settle time.Duration
}

func (o Options) withDefaults() Options {
	if o.Library == "" {
		o.Library = os.Getenv(LibraryEnv)
	}
	if o.Timeout <= 0 {
		o.Timeout = 1500 * time.Millisecond
	}
	if o.CommandTimeout <= 0 {
		o.CommandTimeout = 3500 * time.Millisecond
	}
	if o.OpenTimeout <= 0 {
		o.OpenTimeout = 15 * time.Second
	}
	if o.Backoff == nil {
		o.Backoff = []time.Duration{200 * time.Millisecond, 500 * time.Millisecond, 800 * time.Millisecond, time.Second}
	}
	if o.Settle <= 0 {
		o.Settle = 3 * time.Millisecond
	}
	return o
}

// Device is a radio that SoapySDR finds.
type Device struct {
	Address string // what ParseAddress takes: the driver, and what tells it from others
	Label   string // the driver's words for it
}

// passedOver are drivers whose devices are no radios unless someone names them.
var passedOver = []string{"audio", "null"}

// List returns the radios that SoapySDR finds, none without an error when there
// are none. Its error is a *tuner.Problem or the context's.
func List(ctx context.Context, o Options) ([]Device, error) {
	o = o.withDefaults()
	lib, err := load(o.Library)
	if err != nil {
		return nil, err
	}
	found, err := within(ctx, o.OpenTimeout, func() ([]map[string]string, error) { return lib.find(""), nil })
	if errors.Is(err, errSilent) {
		return nil, &tuner.Problem{
			What: fmt.Sprintf("a module of SoapySDR does not end its search for radios within %v", o.OpenTimeout),
			Hint: "unplug radios one by one, or name one: soapy:driver=NAME",
			Err:  errors.Join(ErrStalled, err),
		}
	}
	if err != nil {
		return nil, err
	}
	var out []Device
	for _, args := range found {
		out = append(out, Device{Address: address(args), Label: args["label"]})
	}
	return out, nil
}

// find returns what the library's modules find.
func (lib *library) find(device string) (out []map[string]string) {
	n := new(uintptr)
	p := lib.enumerate(device, n)
	if p == nil {
		return nil
	}
	defer lib.clearKwargs(p, *n)
	for _, k := range unsafe.Slice((*kwargs)(p), *n) {
		args := k.read()
		if device == "" && slices.Contains(passedOver, args["driver"]) {
			continue
		}
		out = append(out, args)
	}
	return out
}

// patient adds to the description of a radio at another machine that an answer may
// take its time: by itself the module gives the network a tenth of a second.
func patient(device string) string {
	const key = "remote:timeout" // µs
	if !strings.Contains(device, "remote=") || strings.Contains(device, key) {
		return device
	}
	return device + "," + key + "=2000000"
}

// address returns what tells a radio from others, for ParseAddress.
func address(args map[string]string) string {
	words := []string{"driver=" + args["driver"]}
	if args["driver"] == "remote" {
		for _, key := range []string{"remote", "remote:driver", "remote:type"} {
			if v := args[key]; v != "" && !strings.ContainsAny(v, ",=") {
				words = append(words, key+"="+v)
			}
		}
	}
	for _, key := range []string{"serial", "device_id", "uri"} {
		if v := args[key]; v != "" && !strings.ContainsAny(v, ",=") {
			return strings.Join(append(words, key+"="+v), ",")
		}
	}
	return strings.Join(words, ",")
}

// opened is a radio that the library has opened.
type opened struct {
	dev  uintptr
	args map[string]string
}

// openFirst opens the first radio that answers to a device's description.
func (lib *library) openFirst(device string) (opened, error) {
	device = patient(device)
	found := lib.find(device)
	if len(found) == 0 {
		return opened{}, lib.noDevice(device)
	}
	// What was asked for may say more than what was found.
	args := map[string]string{}
	for word := range strings.SplitSeq(device, ",") {
		if key, value, ok := strings.Cut(word, "="); ok {
			args[key] = value
		}
	}
	maps.Copy(args, found[0])
	got := opened{args: found[0]}
	err := lib.call("open", func() int32 {
		withKwargs(args, func(k unsafe.Pointer) { got.dev = lib.open(k) })
		if got.dev == 0 {
			return -1
		}
		return 0
	})
	return got, err
}

// Open opens the radio with the address, or the first that SoapySDR finds, and
// sets what does not change later. Errors are *tuner.Problem or the context's.
func Open(ctx context.Context, a Address, o Options) (tuner.Tuner, error) {
	o = o.withDefaults()
	lib, err := load(o.Library)
	if err != nil {
		return nil, err
	}
	name := "soapy"
	if a.Device != "" {
		name = "soapy:" + a.Device
	}
	r, err := within(ctx, o.OpenTimeout, func() (*radio, error) { return open(lib, a, o) }, func(r *radio) { r.Close() })
	if errors.Is(err, errSilent) {
		return nil, &tuner.Problem{
			What: fmt.Sprintf("%s does not open within %v", name, o.OpenTimeout),
			Hint: "plug it in again, or see that the machine it is at can be reached",
			Err:  errors.Join(ErrStalled, err),
		}
	}
	if err != nil {
		return nil, err
	}
	return r, nil
}

// open opens and prepares a radio.
func open(lib *library, a Address, o Options) (*radio, error) {
	name := "soapy"
	if a.Device != "" {
		name = "soapy:" + a.Device
	}
	got, err := lib.openFirst(a.Device)
	if err != nil {
		return nil, openProblem(name, err)
	}
	r := &radio{lib: lib, dev: got.dev, o: o, address: a}
	r.info.Name = "soapy:" + address(got.args)
	if a.Device == "" {
		r.address.Device = address(got.args)
	}
	if err := r.prepare(a, got.args); err != nil {
		lib.close(got.dev)
		return nil, openProblem(name, err)
	}
	return r, nil
}

// within makes a call that may take long. When that is longer than the context or
// the limit, the call is left to itself, and undone once it comes back.
func within[T any](ctx context.Context, limit time.Duration, f func() (T, error), undo ...func(T)) (T, error) {
	type result struct {
		got T
		err error
	}
	done := make(chan result, 1)
	go func() {
		got, err := f()
		done <- result{got, err}
	}()
	var none T
	timer := time.NewTimer(limit)
	defer timer.Stop()
	var err error
	select {
	case r := <-done:
		return r.got, r.err
	case <-ctx.Done():
		err = ctx.Err()
	case <-timer.C:
		err = fmt.Errorf("%w within %v", errSilent, limit)
	}
	go func() {
		if r := <-done; r.err == nil {
			for _, u := range undo {
				u(r.got)
			}
		}
	}()
	return none, err
}
