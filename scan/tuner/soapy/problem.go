package soapy

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"time"

	"rooftone/scan/tuner"
)

// What can be wrong with a radio. Each comes in a *tuner.Problem.
var (
	ErrNoLibrary  = errors.New("libSoapySDR not found")
	ErrBadLibrary = errors.New("libSoapySDR not usable")
	ErrNoDevice   = errors.New("no radio")
	ErrOpen       = errors.New("radio does not open")
	ErrRefused    = errors.New("radio refused a command")
	ErrUnplugged  = errors.New("radio unplugged")
	ErrStalled    = errors.New("radio stalled")
	ErrTooSlow    = errors.New("computer too slow for the sample rate")
)

// refusedError is a command that the library returned an error for.
type refusedError struct {
	what string
	said string
}

func (e *refusedError) Error() string {
	if e.said == "" {
		return e.what
	}
	return fmt.Sprintf("%s (%s)", e.what, e.said)
}

var (
	// errTooSlow is a reader that cannot keep up with the stream.
	errTooSlow = errors.New("samples come faster than they are taken")
	// errSilent is a call into the library that does not come back.
	errSilent = errors.New("it does not answer")
)

// call makes a call into the library that returns an error code, with what the
// library says of it. That is kept by thread.
func (l *library) call(what string, f func() int32) error {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	if rc := f(); rc != 0 {
		said := l.lastError()
		if l.lastStatus() == 0 || said == "" {
			said = fmt.Sprintf("SoapySDR says %d", rc)
		}
		return &refusedError{what, plain(said)}
	}
	return nil
}

// plain makes one line of what a driver says.
func plain(said string) string {
	return strings.TrimRight(strings.Join(strings.Fields(said), " "), ".")
}

// noDevice says that no radio answers, with what is known of why.
func (lib *library) noDevice(device string) error {
	var modules []string
	for _, path := range lib.words(lib.listModules) {
		modules = append(modules, moduleName(path))
	}
	p := &tuner.Problem{What: "no radio is found by SoapySDR", Err: ErrNoDevice}
	device, _, _ = strings.Cut(device, ",remote:timeout=")
	if device != "" {
		p.What = fmt.Sprintf("no radio with %s is found by SoapySDR", device)
	}
	if len(modules) == 0 {
		p.What += ", which has no module for any"
		p.Hint = "install the radio's module, such as apt install soapysdr-module-all"
		return p
	}
	p.Hint = "plug it in, or install its module: there are those for " + strings.Join(modules, ", ")
	return p
}

// moduleName returns what a module is for, by its file's name: as a rule
// lib<radio>Support.so.
func moduleName(path string) string {
	name := path[strings.LastIndexAny(path, `/\`)+1:]
	name, _, _ = strings.Cut(name, ".")
	return strings.TrimSuffix(strings.TrimPrefix(name, "lib"), "Support")
}

// openProblem says why a radio could not be opened.
func openProblem(name string, err error) error {
	var p *tuner.Problem
	if errors.As(err, &p) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return &tuner.Problem{
		What: fmt.Sprintf("%s cannot be opened: %v", name, err),
		Hint: "close other programs that use it, and plug it in again",
		Err:  errors.Join(ErrOpen, err),
	}
}

// lastWord is how long a radio that refuses a command is watched for a sign of life.
const lastWord = time.Second

// silent says whether no samples come any more: of a radio that is gone a command
// may say so first.
func (r *radio) silent() bool {
	if r.stream == nil || r.ring == nil {
		return false
	}
	written, _, _ := r.ring.state()
	ctx, cancel := context.WithTimeout(context.Background(), lastWord)
	defer cancel()
	const pieces = 4 // one or two may have been on their way
	return r.ring.await(ctx, written+pieces*uint64(r.most), lastWord) != nil
}

// problem puts an error of the radio into words.
func (r *radio) problem(err error) error {
	var (
		p       *tuner.Problem
		refused *refusedError
		ended   *endedError
	)
	name := r.info.Name
	gone := errors.As(err, &refused) && r.silent()
	if gone {
		err = fmt.Errorf("it refused to %w", err)
		if _, _, end := r.ring.state(); end != nil {
			err = end
		}
	}
	switch {
	case err == nil, errors.As(err, &p):
		return err
	case errors.Is(err, errTooSlow), errors.Is(err, errStalled) && r.drowning():
		return &tuner.Problem{
			What: fmt.Sprintf("this computer does not keep up with %.3g MS/s from %s", r.now.realHz/1e6, name),
			Hint: "close other programs, or ask for fewer samples with --rate, such as --rate 2.4M",
			Err:  errors.Join(ErrTooSlow, err),
		}
	case errors.As(err, &ended), gone:
		return &tuner.Problem{
			What: fmt.Sprintf("%s was unplugged or has failed: %s", name, plain(err.Error())),
			Hint: "plug it in again, without a hub or on a shorter cable if that happens often",
			Err:  errors.Join(ErrUnplugged, err),
		}
	case errors.As(err, &refused):
		return &tuner.Problem{
			What: fmt.Sprintf("%s refused to %s", name, refused),
			Hint: "plug the radio in again and retry",
			Err:  errors.Join(ErrRefused, err),
		}
	case errors.Is(err, errStalled), errors.Is(err, errSilent):
		return &tuner.Problem{
			What: fmt.Sprintf("%s was unplugged or has stalled: %v", name, err),
			Hint: "plug it in again, in another socket if that happens often",
			Err:  errors.Join(ErrStalled, err),
		}
	}
	return err
}

// drowning says whether the stream brings nothing but word of losses.
func (r *radio) drowning() bool { return r.stream != nil && r.stream.overflows.Load() > 0 }
