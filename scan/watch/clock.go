package watch

import (
	"context"
	"time"

	"rooftone/scan/tuner"
)

// clock tells the time and lets it pass. The time since the watch began comes of
// a clock that nobody sets and that goes on while the computer sleeps, as far as
// there is one.
type clock struct {
	radio tuner.Timed // nil: the wall's time
	began time.Time   // by the radio
	base  time.Time   // where the usual steady time is counted from
	start time.Duration
}

func newClock(radio tuner.Timed) *clock {
	base := time.Now()
	c := &clock{radio: radio, base: base, start: steady(base)}
	if radio != nil {
		c.began = radio.Now()
	}
	return c
}

// now is the wall's time and the time since the watch began.
func (c *clock) now() (time.Time, time.Duration) {
	if c.radio != nil {
		at := c.radio.Now()
		return at, at.Sub(c.began)
	}
	return time.Now().Round(0), steady(c.base) - c.start
}

// wait lets time pass.
func (c *clock) wait(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil || d <= 0 {
		return err
	}
	if c.radio != nil {
		c.radio.Wait(d)
		return nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
