package main

import (
	"context"
	"fmt"
	"math"
	"time"

	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/tuner"
	"rooftone/scan/verdict"
)

// playback is a recording under the meter: its time, and what it came to.
type playback struct {
	inOwnTime bool // readings come when they came then

	began time.Time // by the wall's clock
	last  time.Time // of the reading before, by the recording's
	due   time.Duration

	start    time.Time
	channels []*playedChannel
}

// playedChannel is what a recording said of a channel.
type playedChannel struct {
	number      int
	covered     bool
	readings    int
	heard       int         // with a figure
	gauge       meter.Gauge // of which
	standard    measure.Standard
	first, last time.Time
	low, high   float64
	occupied    bool    // by no television station
	sigma       float64 // of the level of the last margin
	share       float64 // of the channel that was heard
	best        *float64
	bestTime    time.Time
}

// longestPause is how long a gap between two stays of a recording takes at the
// most.
const longestPause = time.Second

// follow plays.
func (p *playback) follow(ctx context.Context, m *meter.Meter, open func(context.Context) (tuner.Playlist, error), deliver func(meter.Update) error) error {
	return m.Play(ctx, open, func(u meter.Update) error {
		if err := p.wait(ctx, u.Time); err != nil {
			return err
		}
		return deliver(u)
	})
}

// wait waits until a reading is due.
func (p *playback) wait(ctx context.Context, at time.Time) error {
	if !p.inOwnTime {
		return ctx.Err()
	}
	if p.began.IsZero() {
		p.began, p.last = time.Now(), at
	}
	p.due += max(0, min(longestPause, at.Sub(p.last)))
	p.last = at
	timer := time.NewTimer(time.Until(p.began.Add(p.due)))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

// count takes a reading into the summary.
func (p *playback) count(u meter.Update) {
	if p == nil || u.State == meter.Learning {
		return
	}
	if p.start.IsZero() {
		p.start = u.Time
	}
	var c *playedChannel
	for _, known := range p.channels {
		if known.number == u.Channel.Number {
			c = known
		}
	}
	if c == nil {
		c = &playedChannel{number: u.Channel.Number, covered: true, first: u.Time, low: math.Inf(1), high: math.Inf(-1)}
		p.channels = append(p.channels, c)
	}
	if u.State == meter.Uncovered {
		c.covered = false
		return
	}
	c.readings++
	c.occupied = u.Occupied
	c.last = u.Time
	if u.BestDB != nil {
		c.best, c.bestTime = u.BestDB, u.BestTime
	}
	if x := u.Figure(); x != nil {
		if c.gauge != u.Gauge { // figures of two kinds make no span
			c.heard, c.low, c.high = 0, math.Inf(1), math.Inf(-1)
		}
		c.heard++
		c.gauge, c.standard = u.Gauge, u.Standard
		c.sigma, c.share = x.Sigma, u.SeenShare()
		c.low, c.high = math.Min(c.low, x.Value), math.Max(c.high, x.Value)
	}
}

// summarise says what a recording that was played came to.
func (s *aimSession) summarise(ctx context.Context, src source) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	for _, c := range s.playback.channels {
		s.console.note("%s", c.summary(s.playback.start))
	}
	if len(s.playback.channels) > 0 && ctx.Err() == nil && src.verify(ctx) != nil {
		s.console.note("%s was damaged since it was made: its checksum does not fit, so mistrust these figures", s.source)
	}
}

// figure says what was followed, and how that is written.
func (c *playedChannel) figure() (what, format string) {
	switch c.gauge {
	case meter.ByCN:
		what, format = "C/N", "%.1f"
	case meter.ByLevel:
		what, format = "level in dBFS,", "%.1f"
	default:
		return "margin", "%+.1f"
	}
	if c.standard == measure.ATSC3 {
		return "ATSC 3.0, " + what, format
	}
	return "a signal, but no 8-VSB in it, " + what, format
}

func (c *playedChannel) summary(start time.Time) string {
	const half = 1.96 // standard uncertainties make half a 95 % interval
	seconds := func(t time.Time) string { return fmt.Sprintf("%.1f s", t.Sub(start).Seconds()) }
	switch {
	case !c.covered:
		return fmt.Sprintf("channel %d: the recording holds nothing usable of it", c.number)
	case c.occupied:
		return fmt.Sprintf("channel %d: no television station is on it, in %d readings", c.number, c.readings)
	case c.heard == 0:
		return fmt.Sprintf("channel %d: nothing heard in %d readings", c.number, c.readings)
	}
	what, written := c.figure()
	span := fmt.Sprintf("%s "+written+" to "+written+" dB", what, c.low, c.high)
	if c.high-c.low < 0.1 {
		span = fmt.Sprintf("%s "+written+" dB", what, c.high)
	}
	if part := verdict.Basis(c.share); part != "" {
		span += fmt.Sprintf(" %s, give or take %.1f dB", part, half*c.sigma)
	}
	text := fmt.Sprintf("channel %d: %s, %d readings", c.number, span, c.readings)
	if d := c.last.Sub(c.first).Seconds(); d >= 0.1 {
		text += fmt.Sprintf(" in %.1f s", d)
	}
	if c.best != nil {
		text += fmt.Sprintf(", best "+written+" dB after %s", *c.best, seconds(c.bestTime))
	}
	return text
}
