package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
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
	prompt  *bearingPrompt   // on a terminal where somebody types; else nil
	typed   <-chan typedLine // nil where nobody types
	keys    func(ctx context.Context) (context.Context, func(), error)
	rotate  func(bearingDeg, rateDegPerS float64) error

	turn    site.Turn
	started time.Time // of the turn, by the readings' clock
	span    time.Duration
	order   []int // of the channels
	now     map[int]meter.Update
	latest  map[int][]time.Time // the ends of a channel's last stays
	samples map[int][]site.Sample
	best    map[int]meter.Update
	silent  map[int]bool // channels that stood out of nothing at some moment
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
		now: map[int]meter.Update{}, latest: map[int][]time.Time{}, samples: map[int][]site.Sample{}, best: map[int]meter.Update{},
		silent: map[int]bool{},
	}
	r.turn.Clockwise, r.turn.Counter = t.way == "clockwise", t.way == "counter"
	if t.sigma != nil {
		r.turn.SigmaDeg = *t.sigma
	}
	if t.rate == nil {
		r.listenTo(c)
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
		r.listenTo(c)
	}
	return r, nil
}

// listenTo takes what is typed: on a terminal by the key, once it is followed,
// else by the line.
func (r *rotation) listenTo(c *console) {
	if !isTerminal(c.stdin) || !isTerminal(c.stderr) || c.env("TERM") == "dumb" {
		r.typed = readLines(c.stdin)
		return
	}
	lines := make(chan typedLine, 16)
	r.typed = lines
	r.keys = func(ctx context.Context) (context.Context, func(), error) {
		ctx, stop := context.WithCancel(ctx)
		p, restore, err := promptOn(c, lines, stop)
		if err != nil {
			stop()
			return nil, nil, err
		}
		raw := *c
		raw.stderr = rawLines{c.stderr}
		r.prompt, r.console = p, &raw
		return ctx, func() { restore(); r.prompt, r.console = nil, c }, nil
	}
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

// follow measures until the turn is over. It returns whether somebody broke it
// off.
func (r *rotation) follow(ctx context.Context, m *meter.Meter) (broken bool, err error) {
	defer r.bar.erase()
	if r.keys != nil {
		following, restore, err := r.keys(ctx)
		if err != nil {
			return false, err
		}
		defer restore()
		ctx = following
	}
	err = m.Run(ctx, r.take)
	if errors.Is(err, errDone) {
		return false, nil
	}
	return ctx.Err() != nil, err
}

// note says something above the lines that are drawn anew.
func (r *rotation) note(format string, args ...any) {
	r.bar.erase()
	if r.prompt != nil {
		r.prompt.erase()
	}
	r.console.note(format, args...)
}

// say shows what is heard now, and what to type.
func (r *rotation) say(heard string) {
	if r.prompt == nil {
		r.bar.say(heard)
		return
	}
	ask := "bearing now (Enter alone ends): "
	if r.turner.rate != nil {
		ask = "Enter when the rotator starts: "
		if len(r.turn.Pointings) > 0 {
			ask = "Enter ends the turn: "
		}
	} else if n := len(r.turn.Pointings); n > 0 {
		ask = fmt.Sprintf("after %s, bearing now (Enter alone ends): ", site.Heading(r.turn.Pointings[n-1].BearingDeg))
	}
	r.prompt.say(heard, ask)
}

// take is given every reading.
func (r *rotation) take(u meter.Update) error {
	if u.State == meter.Learning {
		clear(r.latest)
		if r.prompt != nil {
			r.prompt.say("listening carefully first: do not turn yet", "bearing where it points now: ")
		}
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
		r.note("turn slowly; where you know the bearing, type it and press Enter; an empty line ends the turn; %s", t.by.Sentence())
	case r.typed != nil:
		r.note("start the rotator from %s and press Enter at the same moment", site.Heading(*t.start)+t.by.Words())
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
		r.note("%s is no bearing: type degrees from 0 to 360, or an empty line to end", quote(line.text))
		return
	}
	r.turn.Pointings = append(r.turn.Pointings, site.Pointing{Time: line.at, BearingDeg: deg})
	r.note("%s noted", site.Heading(deg)+r.turner.by.Words())
}

// sample keeps a reading. It rests on the latest stay of each of the channel's
// slices, so it belongs to the middle of them.
func (r *rotation) sample(u meter.Update) {
	n := u.Channel.Number
	const pieces = 3 // of a channel
	r.latest[n] = append(r.latest[n], u.Time)
	if len(r.latest[n]) > pieces {
		r.latest[n] = r.latest[n][1:]
	}
	if _, known := r.now[n]; !known {
		r.order = append(r.order, n)
		slices.Sort(r.order)
	}
	r.now[n] = u
	defer func() { r.say(r.heard()) }()
	figure := u.Figure() // the margin, or of what is no 8-VSB its C/N
	if figure == nil {
		r.silent[n] = r.silent[n] || u.State == meter.Nothing
		return
	}
	b, ok := r.best[n]
	if ok && b.Gauge != u.Gauge {
		r.samples[n], ok = nil, false // a curve is of one of them
	}
	if !ok || figure.Value > b.Figure().Value {
		r.best[n] = u
	}
	first := r.latest[n][0]
	var sum time.Duration
	for _, at := range r.latest[n] {
		sum += at.Sub(first)
	}
	middle := first.Add(sum/time.Duration(len(r.latest[n])) - meterStay/2)
	r.samples[n] = append(r.samples[n], site.Sample{Time: middle, LevelDB: figure.Value})
}

// heard is every channel's figure in a line, beside its best.
func (r *rotation) heard() string {
	var parts []string
	for _, n := range r.order {
		now, best := "nothing", ""
		if m := r.now[n].Figure(); m != nil {
			now = fmt.Sprintf("%+.1f dB", m.Value)
		}
		if b, ok := r.best[n]; ok {
			best = fmt.Sprintf(" (best %+.1f)", b.Figure().Value)
		}
		parts = append(parts, fmt.Sprintf("%d: %s%s", n, now, best))
	}
	return "channel " + strings.Join(parts, "   ")
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

// curves is what each channel's margin was against bearing. One that was followed
// and never heard has a curve without points: that is known, too.
func (r *rotation) curves(channels []band.Channel) []site.Curve {
	var out []site.Curve
	for _, c := range channels {
		if !r.best[c.Number].HasMargin() {
			continue // a curve that is kept is a margin's
		}
		points, err := r.turn.Curve(r.samples[c.Number], site.CurveStepDeg)
		heard := len(points) > 0
		if err == nil && (heard || r.silent[c.Number] && len(r.samples[c.Number]) == 0) { // what is wrong with the bearings, fit says
			out = append(out, site.Curve{RFChannel: c.Number, Points: points})
		}
	}
	return out
}
