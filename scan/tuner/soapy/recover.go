package soapy

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rooftone/scan/tuner"
)

// mostRecoveries is how often one call may get a radio back.
const mostRecoveries = 2

// attemptTime is how long one attempt to open a radio again may take.
const attemptTime = time.Second

// again calls f, and again when the radio could be got back from what f came to: one
// that has gone may be back in a moment, one that stalls may need its stream begun
// anew.
func (r *radio) again(ctx context.Context, f func() error) error {
	if r.left != nil {
		if err := r.reopen(ctx); err != nil {
			return err
		}
	}
	err := f()
	restarted := false
	for tries := 0; err != nil && tries < mostRecoveries; tries++ {
		problem := r.problem(err)
		switch {
		case ctx.Err() != nil:
			return problem
		case errors.Is(problem, ErrUnplugged):
			if err := r.release(); err != nil {
				return err
			}
			r.left = problem
			if err := r.reopen(ctx); err != nil {
				return err
			}
		case errors.Is(problem, ErrStalled) && !restarted && !r.hung && r.inHand == nil:
			restarted = true
			if err := r.restart(); err != nil {
				return problem
			}
		default:
			return problem
		}
		err = f()
	}
	return r.problem(err)
}

// restart ends the stream of a radio that stalls; the next retune begins it anew.
func (r *radio) restart() error {
	r.tuned = false
	_, err := within(context.Background(), r.o.Timeout, func() (struct{}, error) { return struct{}{}, r.halt(r.stream) })
	if err != nil {
		r.hung = errors.Is(err, errSilent)
		return err
	}
	r.stream = nil
	return nil
}

// reopen looks for a radio that has gone and opens it. What there is to say while it
// is not back is in r.left.
func (r *radio) reopen(ctx context.Context) error {
	for _, wait := range r.o.Backoff {
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return ctx.Err()
		}
		back, err := within(ctx, attemptTime, func() (*radio, error) { return open(r.lib, r.address, r.o) }, func(r *radio) { r.Close() })
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, errSilent):
			return r.left
		case err != nil:
			continue
		}
		if back.format.name != r.format.name {
			back.Close()
			return r.left // another radio
		}
		if r.bias != "" && back.SetBiasTee(true) != nil {
			back.Close()
			continue
		}
		back.info, back.address, back.to, back.room = r.info, r.address, r.to, r.room
		*r = *back
		return nil
	}
	return r.left
}

// release gives the radio back. When the library does not let go of it in time it is
// left to its fate.
func (r *radio) release() error {
	err := r.letGo()
	if err == nil {
		return nil
	}
	r.left = &tuner.Problem{
		What: fmt.Sprintf("the library does not let go of %s", r.info.Name),
		Hint: "unplug the radio and plug it in again",
		Err:  errors.Join(ErrStalled, err),
	}
	return r.left
}

// letGo ends all that is under way, in an order in which no call into the library
// finds its radio gone, and gives the radio back.
func (r *radio) letGo() error {
	if r.hung {
		return errSilent // it has been waited for already
	}
	r.tuned = false
	deadline := time.Now().Add(r.o.Timeout)
	ctx, cancel := context.WithDeadline(context.Background(), deadline)
	defer cancel()
	if r.inHand != nil {
		// What the command comes to does not matter any more.
		if _, err := r.outcome(ctx); r.inHand != nil {
			return err
		}
	}
	s := r.stream
	if s != nil && !s.stop(time.Until(deadline)) {
		return errSilent
	}
	l, dev, handle, bias := r.lib, r.dev, r.handle, r.bias
	_, err := within(ctx, r.o.Timeout, func() (struct{}, error) {
		if bias != "" {
			l.writeSetting(dev, bias, "false")
		}
		if s != nil {
			l.deactivate(dev, handle, 0, 0)
		}
		l.closeStream(dev, handle)
		l.close(dev)
		return struct{}{}, nil
	})
	return err
}
