package meter

import (
	"context"
	"errors"
	"time"

	"rooftone/scan"
)

// ErrOver is returned by Visit when the meter does not run any more.
var ErrOver = errors.New("the meter has ended")

// visitRequest asks for a careful visit between two stays.
type visitRequest struct {
	ctx     context.Context
	options scan.Options
	done    chan visited // buffered
}

type visited struct {
	survey *scan.Survey
	err    error
}

// Visit has the meter stop following for as long as a careful visit with its
// radio takes, and then go on. It may be called from any goroutine but that of
// Run, and returns when the visit is over. Meanwhile Run delivers updates of
// state Learning. When the context ends, so does the visit, and what it returns
// is marked as interrupted.
func (m *Meter) Visit(ctx context.Context, o scan.Options) (*scan.Survey, error) {
	if o.RateHz == 0 {
		o.RateHz = m.RateHz
	}
	if o.Radio == nil {
		o.Radio = m.Radio
	}
	r := visitRequest{ctx, o, make(chan visited, 1)}
	select {
	case m.visits <- r:
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-m.ended:
		return nil, ErrOver
	}
	select {
	case v := <-r.done:
		return v.survey, v.err
	case <-m.ended:
		// It may have been the visit's last act.
		select {
		case v := <-r.done:
			return v.survey, v.err
		default:
			return nil, ErrOver
		}
	}
}

// sayEvery is how often a careful visit tells how far it has come.
const sayEvery = 100 * time.Millisecond

// visitIfAsked makes the careful visit that someone asked for.
func (m *Meter) visitIfAsked(ctx context.Context, deliver func(Update) error) error {
	var r visitRequest
	select {
	case r = <-m.visits:
	default:
		return nil
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(r.ctx, cancel)()
	failed := m.listening(deliver, 0)
	var said time.Time
	o := r.options
	o.Progress = func(done, total int, _ float64) {
		if failed != nil || time.Since(said) < sayEvery || total == 0 {
			return
		}
		said = time.Now()
		if failed = m.listening(deliver, min(1, float64(done)/float64(total))); failed != nil {
			cancel()
		}
	}
	survey, err := scan.SweepTuner(ctx, m.tuner, o)
	r.done <- visited{survey, err}
	if failed != nil {
		return failed
	}
	if err != nil {
		return err
	}
	m.away, m.due = true, time.Time{}
	return nil
}

// listening says of every channel that a careful visit is under way.
func (m *Meter) listening(deliver func(Update) error, progress float64) error {
	for i, c := range m.Channels {
		u := Update{Channel: c, Time: time.Now(), State: Learning, Progress: progress}
		if m.followers != nil {
			u.Time, u.Count, u.Gauge = m.last, m.followers[i].count, m.followers[i].gauged
			if h := &m.followers[i].history; h.hasBest {
				best := h.best
				u.BestDB, u.BestTime = &best, h.bestTime
			}
		}
		if err := deliver(u); err != nil {
			return err
		}
	}
	return nil
}

// sleep takes a time in which nothing could be heard off the age of what is
// known.
func (f *follower) sleep(d time.Duration) {
	for _, at := range []*time.Time{&f.pilot.at, &f.pilot.seen, &f.lastSeen, &f.shapeAt} {
		if !at.IsZero() {
			*at = at.Add(d)
		}
	}
	for k := range f.hops {
		if t := &f.hops[k].trained; !t.at.IsZero() {
			t.at = t.at.Add(d)
		}
	}
}
