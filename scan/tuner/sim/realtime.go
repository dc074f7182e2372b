package sim

import (
	"context"
	"math"
	"time"
)

// patience is how late a reader may be before the radio's buffers overflow.
const patience = 250 * time.Millisecond

// pace waits until the wall clock has reached a moment of the radio's time, if
// it is to keep to that.
func (t *Tuner) pace(ctx context.Context, moment float64) error {
	if !t.options.RealTime {
		return nil
	}
	if t.wall.IsZero() {
		t.wall = time.Now().Add(-seconds(moment))
	}
	wait := time.Until(t.wall.Add(seconds(moment)))
	if wait <= 0 {
		return ctx.Err()
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

// idle is the time in seconds that has gone by since the radio was last read
// from, if it keeps to real time: tuned anew, it begins from now.
func (t *Tuner) idle() float64 {
	if !t.options.RealTime || t.wall.IsZero() {
		return 0
	}
	return max(0, time.Since(t.wall.Add(t.Elapsed())).Seconds())
}

// catchUp passes over what a reader who came too late has lost, in whole
// frames, and says whether there was any.
func (t *Tuner) catchUp() bool {
	if !t.options.RealTime {
		return false
	}
	late := time.Since(t.wall.Add(t.Elapsed()))
	if late <= patience {
		return false
	}
	t.framed += int64(math.Ceil(late.Seconds() * t.stay.rateHz / frame))
	t.read = t.framed*frame + t.lost
	t.ready = nil
	return true
}
