package meter

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

const (
	// leastSeconds is the shortest piece of a stay that makes a reading.
	leastSeconds = 10e-3
	// playedFitEvery is fitEvery for recordings, whose time is not ours.
	playedFitEvery = 100 * time.Millisecond
	// mostLearnt bounds the stays of a recording from which its pass band is
	// learnt.
	mostLearnt = 512
)

// UncoveredError says that a recording holds nothing of any channel that was to
// be followed, or too little to say anything by.
type UncoveredError struct {
	Channels []band.Channel
	Holds    []band.Span // what it does hold, ascending
}

func (e *UncoveredError) Error() string {
	c := e.Channels[0]
	what := fmt.Sprintf("channel %d, %g to %g MHz", c.Number, c.LowerHz/1e6, c.UpperHz()/1e6)
	if len(e.Channels) > 1 {
		what = fmt.Sprintf("any of the %d channels", len(e.Channels))
	}
	const most, shows = 3, "the recording shows nothing usable of %s: it holds %s"
	holds := "nothing"
	for i, s := range e.Holds {
		switch {
		case i == most:
			return fmt.Sprintf(shows+" and more elsewhere", what, holds)
		case i == 0:
			holds = fmt.Sprintf("%.2f to %.2f MHz", s.LowHz/1e6, s.HighHz/1e6)
		default:
			holds += fmt.Sprintf(", %.2f to %.2f MHz", s.LowHz/1e6, s.HighHz/1e6)
		}
	}
	return fmt.Sprintf(shows, what, holds)
}

// Play follows the channels through a recording instead of Run, as fast as
// deliver takes the readings. The recording is opened twice: once to learn
// from the whole of it what a careful visit would, and once to follow. Of a
// channel that it holds a part of, that part is followed: Update.Seen. One of
// which it holds nothing usable gets one update of state Uncovered; where that is
// so of all, the error is an *UncoveredError. At the recording's end Play returns
// nil, or what was found wrong with it there.
//
// A reading rests on the latest stay at each of the channel's tunings, however
// long ago that was: a recording that stays long at one has news of that part
// of the channel only. There is none until each of them was heard once: it would
// step when the next one is, and the antenna did not. Of stays at several gains
// those count that a careful look at the recording prefers.
//
// The time of the readings is the recording's own. One that does not tell when
// it was made begins at the Unix epoch.
func (m *Meter) Play(ctx context.Context, open func(context.Context) (tuner.Playlist, error), deliver func(Update) error) error {
	defer close(m.ended)
	err := m.play(ctx, open, deliver)
	if ctx.Err() != nil {
		return nil
	}
	return err
}

func (m *Meter) play(ctx context.Context, open func(context.Context) (tuner.Playlist, error), deliver func(Update) error) error {
	p, err := open(ctx)
	if err != nil {
		return err
	}
	covered, err := m.study(ctx, p)
	p.Close()
	if err != nil {
		return err
	}
	if p, err = open(ctx); err != nil {
		return err
	}
	defer p.Close()
	if m.last.IsZero() {
		m.last = time.Unix(0, 0)
	}
	if len(covered) < len(m.Channels) {
		for i, c := range m.Channels {
			if !covered[i] {
				if err := deliver(Update{Channel: c, Time: m.last, State: Uncovered}); err != nil {
					return err
				}
			}
		}
	}
	t := time.Unix(0, 0)
	for {
		stay, err := p.Next(ctx)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if !stay.Start.IsZero() {
			t = stay.Start
		}
		if t, err = m.playStay(ctx, p, stay, t, deliver); err != nil {
			return err
		}
	}
}

// part is a slice of a followed channel.
type part struct{ channel, slice int }

// showing is what a stay shows of the followed channels.
func (m *Meter) showing(stay tuner.Stay) (out []part) {
	for i, f := range m.followers {
		if f == nil || f.rateHz != stay.RateHz || !sameGain(f.gainDB, stay.GainDB) {
			continue
		}
		for k := range f.hops {
			if f.hops[k].centerHz == stay.CenterHz {
				out = append(out, part{i, k})
			}
		}
	}
	return out
}

// sameGain takes a gain that is not known for any.
func sameGain(a, b float64) bool {
	unknown := func(g float64) bool { return math.IsNaN(g) || math.IsInf(g, 1) }
	return a == b || unknown(a) || unknown(b)
}

// playStay follows through one stay, which begins at a time, and returns when
// it ended.
func (m *Meter) playStay(ctx context.Context, p tuner.Playlist, stay tuner.Stay, at time.Time, deliver func(Update) error) (time.Time, error) {
	parts := m.showing(stay)
	if len(parts) == 0 {
		return at, nil
	}
	if n := int(StaySeconds * stay.RateHz); len(m.buffer) != n {
		m.buffer = make([]complex64, n)
	}
	for {
		b, err := p.Read(ctx, m.buffer)
		at = at.Add(time.Duration(float64(len(b.Samples)) / stay.RateHz * 1e9))
		if float64(len(b.Samples)) >= leastSeconds*stay.RateHz {
			if err := m.spectrum(b); err != nil {
				return at, err
			}
			m.last = at
			for _, x := range parts {
				if _, err := m.take(x.channel, x.slice, b, at, deliver); err != nil {
					return at, err
				}
			}
		}
		if errors.Is(err, io.EOF) {
			return at, nil
		}
		if err != nil {
			return at, err
		}
	}
}

// study learns from the whole of a recording and prepares to follow what it
// covers. The channels that it does not cover have no follower then.
func (m *Meter) study(ctx context.Context, p tuner.Playlist) (covered map[int]bool, err error) {
	k := keeper{}
	seen := map[tuner.Tuning]bool{}
	all := append(append([]band.Channel(nil), m.Plan...), m.Channels...)
	survey, err := scan.SweepPlaylist(ctx, p, scan.Options{
		Channels: m.Channels, Plan: m.Plan, PPM: m.PPM, ThresholdDB: m.ThresholdDB, Progress: m.Progress, Radio: m.Radio,
		Keep: func(b tuner.Block, newStay bool) error {
			if newStay {
				if m.last.IsZero() {
					m.last = b.Start
				}
				seen[tuner.Tuning{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: known(b.GainDB)}] = true
			}
			if len(k.slices) >= mostLearnt {
				k.end()
				return nil
			}
			return k.keep(b, newStay)
		},
	})
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if survey == nil {
		return nil, fmt.Errorf("learning from the recording: %w", err)
	}
	// What is wrong at its end comes up again when it has been followed so far.
	failed := err
	k.end()
	l := lessonsOf(survey)
	if m.Learned != nil {
		m.Learned(survey)
	}
	m.followers = make([]*follower, len(m.Channels))
	covered = map[int]bool{}
	for i := range survey.Channels {
		r := &survey.Channels[i].Reading
		n := slices.Index(m.Channels, r.Channel)
		if n < 0 || !r.Heard() {
			continue
		}
		gain := tuner.UnknownGain()
		if r.GainDB != nil {
			gain = *r.GainDB
		}
		where, ok := lay(r.Channel, seen, gain, l.clock)
		if !ok {
			continue
		}
		l.passband = measure.FindPassbandOf(m.Radio, atRate(k.slices, where.rateHz), all)
		f, err := newFollower(r.Channel, l, where, m.ThresholdDB, p.Info().Clock.ReferenceHz)
		if err != nil {
			return nil, err
		}
		f.fitEvery = playedFitEvery
		m.followers[n], covered[n] = f, true
	}
	if len(covered) == 0 {
		if failed != nil {
			return nil, fmt.Errorf("learning from the recording: %w", failed)
		}
		return nil, &UncoveredError{m.Channels, held(seen)}
	}
	return covered, nil
}

// known is a gain that can be a map's key.
func known(gainDB float64) float64 {
	if math.IsNaN(gainDB) {
		return math.Inf(1)
	}
	return gainDB
}

func atRate(list []*listen.Slice, rateHz float64) (out []*listen.Slice) {
	for _, s := range list {
		if s.RateHz == rateHz {
			out = append(out, s)
		}
	}
	return out
}
