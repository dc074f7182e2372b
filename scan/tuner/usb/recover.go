package usb

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

// usualBackoff is how long to wait before each attempt to find a dongle again: one
// that was pulled and plugged in again, or that reset itself, is back within two
// seconds or is not coming back.
func usualBackoff() []time.Duration {
	return []time.Duration{200 * time.Millisecond, 500 * time.Millisecond, 800 * time.Millisecond, time.Second}
}

// mostRecoveries is how often one call may get the dongle back.
const mostRecoveries = 2

// gone says whether an error means that the dongle is not there any more. After a
// refused command the stream is given a moment to say so.
func (r *radio) gone(err error) bool {
	var refused *refusedError
	var ended *endedError
	switch {
	case errors.As(err, &ended):
		return ended.rc != usbNoMemory
	case errors.As(err, &refused):
		return refused.rc == usbNoDevice || r.stream.endsWithin(200*time.Millisecond)
	}
	return false
}

// stalled says whether an error means that the dongle is there but sends nothing.
// librtlsdr lets go of each buffer that an error of the bus befalls, without a word,
// until there is none left; and a halted endpoint stays so.
func stalled(err error) bool {
	return errors.Is(err, dongle.ErrStalled) || errors.Is(err, dongle.ErrStuck)
}

// recover gets the dongle back from an error, if it is of a kind for which that can
// be. Its own error is then what to say.
func (r *radio) recover(ctx context.Context, err error) (tried bool, problem error) {
	switch {
	case ctx.Err() != nil:
		return false, nil
	case r.gone(err):
		return true, r.reopen(ctx, err)
	case stalled(err) && !r.stream.ended():
		return true, r.restart(ctx, err)
	}
	return false, nil
}

// again calls f, and again each time that the dongle could be got back from what f
// came to.
func (r *radio) again(ctx context.Context, f func() error) error {
	err := f()
	for tries := 0; err != nil && tries < mostRecoveries; tries++ {
		tried, problem := r.recover(ctx, err)
		if problem != nil {
			return problem
		}
		if !tried {
			break
		}
		err = f()
	}
	return r.problem(err)
}

// restart starts the stream of a stalled dongle anew.
func (r *radio) restart(ctx context.Context, stall error) error {
	within, cancel := context.WithTimeout(ctx, r.o.Timeout)
	defer cancel()
	if err := r.rx.Wait(within); err != nil {
		return r.problem(stall)
	}
	if err := r.stream.stop(within); err != nil {
		return r.problem(stall)
	}
	if err := refused("empty its buffer", r.lib.resetBuffer(r.dev.handle)); err != nil {
		return r.problem(err)
	}
	r.start()
	return nil
}

// start starts the stream, of whose setting nothing is known then.
func (r *radio) start() {
	r.ring = dongle.NewRing(ringBytes)
	r.stream = startStream(r.dev, r.ring)
	r.rx.Restart(r.dev, r.ring)
	r.pace.Restart()
}

// reopen looks for a dongle that has gone, at whatever address it comes back, and
// opens it.
func (r *radio) reopen(ctx context.Context, lost error) error {
	if err := r.release(); err != nil {
		return err
	}
	r.left = r.problem(lost) // what there is to say until it is back
	for _, wait := range r.o.Backoff {
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return ctx.Err()
		}
		dev, err := r.lib.openSerial(ctx, r.serial, r.info.Name, r.o)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			continue
		}
		if dev.prepare(r.bias) != nil {
			r.lib.close(dev.handle)
			continue
		}
		r.dev, r.left = dev, nil
		r.start()
		return nil
	}
	return r.left
}

// release gives the dongle back to the library.
func (r *radio) release() error {
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
		r.left = &tuner.Problem{
			What: fmt.Sprintf("the library does not let go of %s", r.info.Name),
			Hint: "unplug the dongle and plug it in again",
			Err:  errors.Join(ErrStalled, err),
		}
		return r.left
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
