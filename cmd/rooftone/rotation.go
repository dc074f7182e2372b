package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"rooftone/scan/band"
	"rooftone/scan/meter"
	"rooftone/scan/site"
)

// rotation is one turn of an antenna while channels are followed.
type rotation struct {
	turner  *turner
	console *console
	bar     *progress
	typed   <-chan typedLine // nil where nobody types
	rotate  func(bearingDeg, rateDegPerS float64) error

	turn    site.Turn
	started time.Time // of the turn, by the readings' clock
	span    time.Duration
	latest  map[int][]time.Time // the ends of a channel's last stays
	samples map[int][]site.Sample
	best    map[int]meter.Update
}

// typedLine is a line from the keyboard, and when it was entered.
type typedLine struct {
	text string
	at   time.Time
	end  bool // there will be no more
}

// turnHeading is what a turn found of one channel.
type turnHeading struct {
	channel int
	samples int
	peak    *site.Peak // nil: err says why
	err     error
	best    meter.Update
}

func newRotation(t *turner, c *console, src source) (*rotation, error) {
	r := &rotation{
		turner: t, console: c, bar: c.newProgress(), span: t.span,
		latest: map[int][]time.Time{}, samples: map[int][]site.Sample{}, best: map[int]meter.Update{},
	}
	r.turn.Clockwise, r.turn.Counter = t.way == "clockwise", t.way == "counter"
	if t.sigma != nil {
		r.turn.SigmaDeg = *t.sigma
	}
	if t.rate == nil {
		r.typed = readLines(c.stdin)
		return r, nil
	}
	r.turn.RateDegPerS = *t.rate
	if r.span == 0 {
		r.span = time.Duration(380 / max(*t.rate, -*t.rate) * float64(time.Second))
	}
	if town, ok := src.tuner.(interface {
		Rotate(bearingDeg, rateDegPerS float64) error
	}); ok {
		r.rotate = town.Rotate
	} else if isTerminal(c.stdin) {
		r.typed = readLines(c.stdin)
	}
	return r, nil
}

// readLines hands on what is typed, line by line. It ends with the program.
func readLines(from io.Reader) <-chan typedLine {
	lines := make(chan typedLine, 16)
	go func() {
		in := bufio.NewScanner(from)
		for in.Scan() {
			lines <- typedLine{text: strings.TrimSpace(in.Text()), at: time.Now()}
		}
		lines <- typedLine{at: time.Now(), end: true}
	}()
	return lines
}

// say tells something between two lines of progress.
func (r *rotation) say(text string) {
	r.bar.erase()
	r.console.note("%s", text)
}

// follow measures until the turn is over.
func (r *rotation) follow(ctx context.Context, m *meter.Meter) error {
	defer r.bar.erase()
	err := m.Run(ctx, r.take)
	if errors.Is(err, errDone) {
		return nil
	}
	return err
}

// take is given every reading.
func (r *rotation) take(u meter.Update) error {
	if u.State == meter.Learning {
		clear(r.latest)
		return nil
	}
	if r.started.IsZero() {
		if err := r.begin(u.Time); err != nil {
			return err
		}
	}
	if err := r.listen(); err != nil {
		return err
	}
	if r.turner.rate != nil && len(r.turn.Pointings) == 0 {
		return nil // the rotator was not started yet
	}
	r.sample(u)
	if r.span > 0 && u.Time.Sub(r.started) >= r.span {
		return errDone
	}
	return nil
}

// begin tells what to do now.
func (r *rotation) begin(at time.Time) error {
	r.started = at
	t := r.turner
	switch {
	case t.rate == nil:
		r.console.note("turn slowly; where you know the bearing, type it and press Enter; an empty line ends the turn")
	case r.typed != nil:
		r.console.note("start the rotator from %g° and press Enter at the same moment", *t.start)
	default:
		if r.rotate != nil {
			if err := r.rotate(t.trueBearing(*t.start), *t.rate); err != nil {
				return withHint(err, "its town file needs a table [antenna]")
			}
		}
		r.turn.Pointings = []site.Pointing{{Time: at, BearingDeg: *t.start}}
	}
	return nil
}

// listen takes what was typed since the last reading.
func (r *rotation) listen() error {
	for {
		var line typedLine
		select {
		case line = <-r.typed:
		default:
			return nil
		}
		switch {
		case r.turner.rate != nil && len(r.turn.Pointings) == 0 && !line.end:
			r.started = line.at
			r.turn.Pointings = []site.Pointing{{Time: line.at, BearingDeg: *r.turner.start}}
		case line.end, line.text == "":
			return errDone
		case r.turner.rate == nil:
			r.point(line)
		}
	}
}

// point notes a bearing.
func (r *rotation) point(line typedLine) {
	deg, err := parseFinite(strings.TrimSuffix(line.text, "°"))
	if err != nil || deg < 0 || deg > 360 {
		r.bar.erase()
		r.console.note("%s is no bearing: type degrees from 0 to 360, or an empty line to end", quote(line.text))
		return
	}
	r.turn.Pointings = append(r.turn.Pointings, site.Pointing{Time: line.at, BearingDeg: deg})
	r.bar.erase()
	r.console.note("%g° noted", deg)
}

// sample keeps a reading. It rests on the latest stay of each of the channel's
// slices, so it belongs to the middle of them.
func (r *rotation) sample(u meter.Update) {
	n := u.Channel.Number
	const slices = 3
	r.latest[n] = append(r.latest[n], u.Time)
	if len(r.latest[n]) > slices {
		r.latest[n] = r.latest[n][1:]
	}
	if u.Margin == nil {
		return
	}
	if b, ok := r.best[n]; !ok || u.Margin.Value > b.Margin.Value {
		r.best[n] = u
	}
	first := r.latest[n][0]
	var sum time.Duration
	for _, at := range r.latest[n] {
		sum += at.Sub(first)
	}
	middle := first.Add(sum/time.Duration(len(r.latest[n])) - meterStay/2)
	r.samples[n] = append(r.samples[n], site.Sample{Time: middle, LevelDB: u.Margin.Value})
	r.bar.say(fmt.Sprintf("channel %d %+.1f dB, best %+.1f dB", n, u.Margin.Value, r.best[n].Margin.Value))
}

// meterStay is how long the meter listens at a time.
const meterStay = time.Duration(meter.StaySeconds * float64(time.Second))

// fit finds each channel's heading.
func (r *rotation) fit(channels []band.Channel) []turnHeading {
	var out []turnHeading
	for _, c := range channels {
		h := turnHeading{channel: c.Number, samples: len(r.samples[c.Number]), best: r.best[c.Number]}
		h.peak, h.err = site.FitTurn(r.samples[c.Number], r.turn)
		out = append(out, h)
	}
	return out
}

// curves is what each channel's margin was against bearing.
func (r *rotation) curves(channels []band.Channel) []site.Curve {
	var out []site.Curve
	for _, c := range channels {
		points, err := r.turn.Curve(r.samples[c.Number], site.CurveStepDeg)
		if err == nil && len(points) > 0 { // what is wrong with the bearings, fit says
			out = append(out, site.Curve{RFChannel: c.Number, Points: points})
		}
	}
	return out
}
