package watch

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/meter"
	"rooftone/scan/tuner"
)

// Options says what to watch. The zero value of a field asks for its default.
type Options struct {
	Channels []band.Channel // one to meter.MostChannels
	Plan     []band.Channel // all that may be visited besides, to learn from

	Every time.Duration // from tick to tick
	For   time.Duration // 0: until the context ends

	GainDB      *float64 // nil: chosen channel by channel
	PPM         *float64 // clock error; nil: found
	ThresholdDB float64  // 0: measure.DefaultThresholdDB

	// Radio is what an examination of the radio found; nil for nothing. It counts
	// for the radio of its name alone: another may be there when it is opened again.
	Radio *character.Character
	// Learned, when not nil, is told what each careful visit found.
	Learned func(*scan.Survey)

	// Open opens the radio again after it went away.
	Open func(context.Context) (tuner.Tuner, error)
	// Simulated, when not nil, is the radio's own clock, by which time passes.
	Simulated tuner.Timed
	// Backoff is how long is waited before each try to open it again; the last
	// one counts for all that follow. nil: 1 s to half a minute.
	Backoff []time.Duration

	// Status, when not nil, is kept up to date.
	Status *Status
	// Notice, when not nil, is told what one should know, in a line.
	Notice func(string)
}

// LeastEvery is the shortest time from tick to tick that so many channels take: a
// stay and its settling take some 40 ms, and a channel has three.
func LeastEvery(channels int) time.Duration {
	return max(250*time.Millisecond, time.Duration(channels)*120*time.Millisecond)
}

func defaultBackoff() []time.Duration {
	return []time.Duration{time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 30 * time.Second}
}

// errDone ends a watch whose time is over.
var errDone = errors.New("done")

// Run watches with a radio that is open, until the context ends or the time is
// over, and closes the radio. When the radio fails it is opened again, however
// long that takes; only one that never gave a reading is given up.
func Run(ctx context.Context, radio tuner.Tuner, w *Writer, o Options) error {
	if o.Backoff == nil {
		o.Backoff = defaultBackoff()
	}
	r := &runner{Options: o, writer: w, clock: newClock(o.Simulated)}
	for {
		err := r.measure(ctx, radio)
		radio.Close()
		if ctx.Err() != nil || errors.Is(err, errDone) {
			return nil
		}
		if err == nil || !r.heard {
			return err
		}
		if radio, err = r.reopen(ctx, err); err != nil {
			return nil // the time is over
		}
	}
}

type runner struct {
	Options
	writer *Writer
	clock  *clock
	ear    *listener
	heard  bool // there was a tick

	round round
	next  time.Duration // when the next tick is due
	began time.Duration // when the round began
	takes time.Duration // how long a round takes: it begins so much sooner
	late  int           // ticks that came late, of the last so many
	ticks int
	slow  bool // that was said
}

// round is what was read since the last tick.
type round struct {
	updates  map[int]meter.Update
	counts   map[int]int
	impulse  map[int]bool
	overload map[int]bool
	lost     map[int]bool
	learned  bool // the first after a careful visit
}

func newRound() round {
	return round{map[int]meter.Update{}, map[int]int{}, map[int]bool{}, map[int]bool{}, map[int]bool{}, false}
}

// measure follows the channels until the radio fails.
func (r *runner) measure(ctx context.Context, radio tuner.Tuner) error {
	r.ear = &listener{Tuner: radio}
	m, err := meter.New(r.ear, meter.Options{
		Channels: r.Channels, Plan: r.Plan, GainDB: r.GainDB, PPM: r.PPM, ThresholdDB: r.ThresholdDB,
		Radio: r.known(radio),
		Learned: func(s *scan.Survey) {
			r.Status.learned(s)
			if r.Learned != nil {
				r.Learned(s)
			}
		},
	})
	if err != nil {
		return err
	}
	r.round = newRound()
	return m.Run(ctx, func(u meter.Update) error { return r.take(ctx, u) })
}

// known is what is known of a radio.
func (r *runner) known(radio tuner.Tuner) *character.Character {
	if r.Radio == nil || r.Radio.Radio != radio.Info().Name {
		return nil
	}
	return r.Radio
}

// take takes one reading. The meter hears the channels in turn; when the last one
// has been heard wholly, the tick is complete, and the meter is made to wait for
// the next.
func (r *runner) take(ctx context.Context, u meter.Update) error {
	if u.State == meter.Learning {
		r.round = newRound()
		r.round.learned, r.began = true, 0
		return nil
	}
	n := u.Channel.Number
	p := &r.round
	p.updates[n] = u
	p.counts[n]++
	p.impulse[n] = p.impulse[n] || r.ear.impulsive()
	p.overload[n] = p.overload[n] || u.Overload
	p.lost[n] = p.lost[n] || u.Lost
	last := r.Channels[len(r.Channels)-1]
	// After a careful visit the first reading of a channel comes with its last
	// slice; later there is one with each, of as many as the radio's rate takes.
	if n != last.Number || !p.learned && p.counts[n] < u.Stays {
		return nil
	}
	return r.tick(ctx)
}

// tick keeps what was read and waits for the next.
func (r *runner) tick(ctx context.Context) error {
	wall, since := r.clock.now()
	t := Tick{Time: wall, Since: since}
	for _, c := range r.Channels {
		u, ok := r.round.updates[c.Number]
		if !ok {
			continue
		}
		reading := Reading{RFChannel: c.Number, Impulse: r.round.impulse[c.Number], Overload: r.round.overload[c.Number], Lost: r.round.lost[c.Number]}
		switch {
		case u.Margin != nil:
			reading.MarginDB = &u.Margin.Value
		case u.Figure() != nil: // a signal, and no picture for it
			reading.Standard = u.Standard
		case u.HasMargin():
			reading.AtMostDB = u.AtMostDB
		}
		t.Readings = append(t.Readings, reading)
	}
	r.writer.Back(wall, since)
	if err := r.writer.Add(t); err != nil {
		return fmt.Errorf("keeping a reading: %w", err)
	}
	r.Status.took(t, r.round.updates, r.writer)
	r.heard = true
	r.round = newRound()
	if r.takes = 0; r.began > 0 {
		r.takes = since - r.began
	}
	if r.For > 0 && since+r.Every > r.For {
		return errDone
	}
	return r.pace(ctx, since)
}

// pace waits until the next tick is due, and notices when it was already.
func (r *runner) pace(ctx context.Context, since time.Duration) error {
	if r.next == 0 {
		r.next = since
	}
	r.next += r.Every
	r.ticks++
	if since > r.next {
		r.late++
		r.next += (since - r.next) / r.Every * r.Every
	}
	const some = 60
	if r.ticks == some {
		if r.late > some/4 && !r.slow {
			r.slow = true
			r.notice(fmt.Sprintf("a round of the channels takes longer than %v: readings come less often than that", r.Every))
		}
		r.ticks, r.late = 0, 0
	}
	err := r.clock.wait(ctx, r.next-since-r.takes)
	_, r.began = r.clock.now()
	return err
}

// reopen opens the radio again after it failed. It fails only when the context or
// the watch's time ends.
func (r *runner) reopen(ctx context.Context, because error) (tuner.Tuner, error) {
	wall, since := r.clock.now()
	r.writer.Away(wall, since, because.Error())
	r.Status.away(because)
	r.notice(fmt.Sprintf("the radio is gone: %v; it is looked for again", because))
	for try := 0; ; try++ {
		wait := r.Backoff[min(try, len(r.Backoff)-1)]
		if r.For > 0 {
			if _, since = r.clock.now(); since >= r.For {
				return nil, errDone
			}
			wait = min(wait, r.For-since)
		}
		if err := r.clock.wait(ctx, wait); err != nil {
			return nil, err
		}
		radio, err := r.Open(ctx)
		if err == nil {
			r.notice("the radio is back")
			return radio, nil
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
}

func (r *runner) notice(s string) {
	if r.Notice != nil {
		r.Notice(s)
	}
}
