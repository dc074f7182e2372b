package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/watch"
)

func watchCommand() command {
	return command{
		name:     "watch",
		operands: "CHANNELS",
		short:    "keep measuring one to eight channels, for minutes to months",
		about: `Measures the margin of one to eight channels again and again, unattended, and
keeps it in a log. The log may be read at any time with rooftone report,
outlives a lost supply, is resumed when it is there already, and stays bounded:
single readings for a day, minutes for a month, hours for a year, days after
that.

A radio that is unplugged is looked for until it is back. A full disk is told;
measuring goes on, and nothing that was kept is lost. It ends at Ctrl-C or after
the time of --for. Let your system start it again when it ends by itself.`,
		examples: `rooftone watch 22,24 --log roof.watch    a reading a second, until Ctrl-C
rooftone watch 22 --every 10s --for 7d --log roof.watch
rooftone watch 22,24 --log roof.watch --metrics 9410
                                         for a time-series system
rooftone report roof.watch               what the log says by now
rooftone watch 21 --from sim:orchard --for 10m --log try.watch
                                         a simulated town: its time runs fast`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var w watchFlags
			w.declare(fs)
			return w.run
		},
	}
}

// watchFlags are the flags of watch.
type watchFlags struct {
	visit   visitFlags // as far as they are the same
	every   time.Duration
	span    time.Duration
	log     string
	metrics string
	shown   shownFlags
	fs      *pflag.FlagSet
}

func (w *watchFlags) declare(fs *pflag.FlagSet) {
	v := &w.visit
	v.from = usualSource()
	fs.Var(&v.from, "from", "the radio, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN or sim:FILE.toml")
	fs.Var(&fileName{&w.log}, "log", "keep the readings in `FILE`; one that is there already is gone on with")
	w.every = time.Second
	fs.Var(&long{to: &w.every, min: 250 * time.Millisecond, max: time.Hour}, "every", "`TIME` from reading to reading, such as 1s or 5m")
	fs.Var(&long{to: &w.span, min: time.Second, max: 3660 * 24 * time.Hour}, "for", "end after `TIME`, such as 90m, 24h or 7d")
	fs.StringVar(&w.metrics, "metrics", "", "serve OpenMetrics at `ADDR`: PORT for this machine alone, or IP:PORT; 0.0.0.0:9410 is every network of this machine")
	fs.StringVar(&v.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.Var(&number{to: &v.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB`, or auto: for each channel as high as it allows")
	fs.Var(&number{to: &v.ppm, min: -300, max: 300, unit: "ppm", auto: true}, "ppm", "error of the radio's clock in `PPM`, + when it runs fast, or auto: found from the stations' pilots")
	fs.BoolVar(&v.bias, "bias-tee", false, "feed an amplifier through the antenna socket while measuring; not with an antenna that is a short circuit for direct current")
	threshold := measure.DefaultThresholdDB
	v.threshold = &threshold
	fs.Var(&number{to: &v.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` at which the receiver decodes")
	w.shown.declare(fs)
	w.fs = fs
}

// check reads the request and touches nothing.
func (w *watchFlags) check(operands []string) (from sourceWord, some, plan []band.Channel, err error) {
	v := &w.visit
	fail := func(err error) (sourceWord, []band.Channel, []band.Channel, error) {
		return sourceWord{}, nil, nil, err
	}
	if len(operands) == 0 {
		return fail(usagef("watch wants one to %d channels", meter.MostChannels).hint("rooftone watch 22 --log roof.watch; rooftone sweep finds out which there are"))
	}
	if some, plan, err = v.channels(operands); err != nil {
		return fail(err)
	}
	if len(some) > meter.MostChannels {
		return fail(usagef("%d channels are too many to watch", len(some)).hint("choose at most %d: those that matter, and one that is strong to compare with", meter.MostChannels))
	}
	if w.log == "" {
		return fail(usagef("watch needs a log").hint("--log roof.watch"))
	}
	if least := watch.LeastEvery(len(some)); w.every < least {
		return fail(usagef("--every %v is too short for %d channels", w.every, len(some)).hint("--every %v, or fewer channels", least))
	}
	if from, err = v.from.parse(); err != nil {
		return fail(err)
	}
	if !from.kind.radio() {
		return fail(usagef("watch wants a radio: a recording has an end").hint("rooftone sweep --from %s measures it", v.from))
	}
	if from.kind == fromSim && v.bias {
		return fail(usagef("--bias-tee is for radios, and %s is none", v.from).hint("leave --bias-tee out"))
	}
	return from, some, plan, nil
}

func (w *watchFlags) run(ctx context.Context, c *console, operands []string) error {
	from, some, plan, err := w.check(operands)
	if err != nil {
		return err
	}
	status := &watch.Status{}
	if w.fs.Changed("metrics") {
		stop, err := serveMetrics(c, w.metrics, status)
		if err != nil {
			return err
		}
		defer stop()
	}
	// Opened before the log is touched: a radio that is missing must leave
	// nothing behind.
	src, clock, err := w.open(ctx, c, from)
	if err != nil {
		return err
	}
	known := c.known(src)
	radio := &closing{Tuner: src.tuner, close: src.close}
	defer radio.Close()
	now := time.Now()
	if clock != nil {
		now = clock.Now()
	}
	screen := &watchScreen{console: c, bar: c.newProgress()}
	log, err := watch.Open(w.log, watch.Settings{
		Every: w.every, RFChannels: numbersOf(some), ThresholdDB: *w.visit.threshold,
		Source: src.info().Name, Program: version(), Notice: screen.note,
	}, now)
	if err != nil {
		return logProblem(w.log, err)
	}
	if log.Resumed() {
		c.note("going on with the log %s", w.log)
	} else {
		c.note("started the log %s", w.log)
	}
	c.note("%s", w.plan(some, now))
	stop := screen.follow(status)
	err = watch.Run(ctx, radio, log, watch.Options{
		Channels: some, Plan: plan, Every: w.every, For: w.span,
		GainDB: w.visit.gain, PPM: w.visit.ppm, ThresholdDB: *w.visit.threshold,
		Open: func(ctx context.Context) (tuner.Tuner, error) {
			again, _, err := w.open(ctx, c, from)
			return &closing{Tuner: again.tuner, close: again.close}, err
		},
		Radio: known, Learned: onceTold(screen.note),
		Simulated: clock, Status: status, Notice: screen.note,
	})
	stop()
	end := time.Now()
	if clock != nil {
		end = clock.Now()
	}
	closeErr := log.Close(end)
	if err != nil {
		return err
	}
	if closeErr != nil {
		return closeErr
	}
	for _, ch := range status.Snapshot().Channels {
		switch u := ch.Latest; {
		case u.Standard == measure.ATSC3:
			c.note("channel %d is ATSC 3.0: it has no margin for 8-VSB, and counts as no picture", ch.RFChannel)
		case u.Foreign() && u.Figure() != nil:
			c.note("channel %d: a signal, but no 8-VSB in it: it has no margin, and counts as no picture", ch.RFChannel)
		}
	}
	c.note("%d readings are kept in %s; rooftone report %s tells what they say", log.Kept(), w.log, w.log)
	if ctx.Err() != nil && w.span > 0 {
		return errInterrupted
	}
	return nil
}

// plan says what is going to happen, and for how long.
func (w *watchFlags) plan(some []band.Channel, now time.Time) string {
	s := fmt.Sprintf("watching channel %s, a reading every %v, until Ctrl-C", plot.Ranges(numbersOf(some)), w.every)
	if w.span > 0 {
		s = strings.Replace(s, "Ctrl-C", now.Add(w.span).Format("2006-01-02 15:04:05"), 1)
	}
	return s
}

// open opens the radio. A simulated town's time is its own, and goes on where the
// log ends.
func (w *watchFlags) open(ctx context.Context, c *console, from sourceWord) (source, tuner.Timed, error) {
	if from.kind != fromSim {
		src, err := from.open(ctx, c, w.visit.raw)
		if err == nil && w.visit.bias {
			if err = src.feed(); err != nil {
				src.close()
			}
		}
		return src, nil, err
	}
	var o sim.Options
	if l, err := watch.Read(w.log); err == nil && len(l.Sessions) > 0 {
		o.Epoch = l.Sessions[len(l.Sessions)-1].End.Add(time.Second)
	}
	radio, err := from.openSim(o)
	if err != nil {
		return source{}, nil, err
	}
	return source{tuner: radio}, radio, nil
}

// closing is a tuner whose end is a source's.
type closing struct {
	tuner.Tuner
	close func()
	once  sync.Once
}

// Rates is tuner.Rated's; none where the radio says nothing of them.
func (c *closing) Rates() tuner.Rates {
	if r, ok := c.Tuner.(tuner.Rated); ok {
		return r.Rates()
	}
	return nil
}

func (c *closing) Close() error {
	c.once.Do(c.close)
	return nil
}

// logProblem says why a log cannot be used.
func logProblem(name string, err error) error {
	switch {
	case errors.Is(err, watch.ErrBusy):
		return withHint(err, "give this one a log of its own; rooftone report %s reads it meanwhile", name)
	case errors.Is(err, watch.ErrNotLog):
		return withHint(err, "choose another name: it is left as it is")
	case errors.Is(err, watch.ErrNewer):
		return withHint(err, "use that program, or another log")
	case errors.Is(err, fs.ErrNotExist):
		return noFolder(filepath.Dir(name), err)
	}
	return err
}

func numbersOf(channels []band.Channel) []int {
	out := make([]int, len(channels))
	for i, c := range channels {
		out[i] = c.Number
	}
	return out
}

// watchScreen speaks while a watch goes on.
type watchScreen struct {
	*console
	mutex sync.Mutex
	bar   *progress
}

// note says something between two lines of progress.
func (s *watchScreen) note(text string) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.bar.erase()
	s.console.note("%s", text)
}

// follow shows the latest readings on a terminal until it is stopped.
func (s *watchScreen) follow(status *watch.Status) (stop func()) {
	show := func() { s.bar.say(watchLine(status.Snapshot())) }
	if s.bar.w == nil {
		tell := &watchTold{next: tellAfter()}
		show = func() {
			if line := tell.line(status.Snapshot()); line != "" {
				s.console.note("%s", line)
			}
		}
	}
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(500 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-done:
				return
			case <-tick.C:
			}
			s.mutex.Lock()
			show()
			s.mutex.Unlock()
		}
	}()
	return func() {
		close(done)
		<-ended
		s.bar.erase()
	}
}

// tellAfter is after how much of its own time a watch that nobody sees says that
// it lives, and then day by day.
func tellAfter() []time.Duration {
	return []time.Duration{time.Minute, 10 * time.Minute, time.Hour, 6 * time.Hour, 24 * time.Hour}
}

// watchTold decides when a watch whose standard error is a file or a pipe says
// something: seldom enough for months.
type watchTold struct {
	began time.Time
	next  []time.Duration // the last goes on by days
}

// line is what there is to say now; mostly nothing.
func (t *watchTold) line(now watch.Snapshot) string {
	var latest time.Time
	for _, c := range now.Channels {
		if c.Time.After(latest) {
			latest = c.Time
		}
	}
	if latest.IsZero() {
		return ""
	}
	if t.began.IsZero() {
		t.began = latest
	}
	gone := latest.Sub(t.began)
	if gone < t.next[0] {
		return ""
	}
	for gone >= t.next[0] {
		if len(t.next) > 1 {
			t.next = t.next[1:]
		} else {
			t.next[0] += 24 * time.Hour
		}
	}
	line := fmt.Sprintf("%s: %d readings kept after %s", latest.Format("2006-01-02 15:04"), now.Kept, roughly(gone))
	if !now.Up {
		line += "; the radio is away"
	}
	return line
}

// roughly writes a length of time in one unit.
func roughly(d time.Duration) string {
	switch {
	case d >= 47*time.Hour:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}

// watchLine is the latest readings in a line.
func watchLine(now watch.Snapshot) string {
	if len(now.Channels) == 0 {
		return "listening carefully first"
	}
	var parts []string
	for _, c := range now.Channels {
		margin := "nothing"
		if m := c.Latest.Margin; m != nil {
			margin = fmt.Sprintf("%+.1f", m.Value)
		} else if x := c.Latest.Figure(); x != nil {
			margin = fmt.Sprintf("none, C/N %.1f", x.Value)
		}
		parts = append(parts, fmt.Sprintf("%d %s", c.RFChannel, margin))
	}
	line := "margin in dB: " + strings.Join(parts, "  ") + fmt.Sprintf("; %d readings kept", now.Kept)
	if !now.Up {
		line += "; the radio is away"
	}
	return line
}

// long is the flag value of a length of time that may be days or weeks.
type long struct {
	to       *time.Duration
	min, max time.Duration
}

func (l *long) Type() string { return "" }

func (l *long) String() string {
	if l.to == nil || *l.to == 0 {
		return ""
	}
	return l.to.String()
}

func (l *long) Set(s string) error {
	s = strings.TrimSpace(s)
	v, err := time.ParseDuration(s)
	for suffix, unit := range map[string]time.Duration{"d": 24 * time.Hour, "w": 7 * 24 * time.Hour} {
		if digits, ok := strings.CutSuffix(s, suffix); ok && err != nil {
			var n float64
			if n, err = strconv.ParseFloat(digits, 64); err == nil {
				v = time.Duration(n * float64(unit))
			}
		}
	}
	if err != nil {
		return fmt.Errorf("%s is not a length of time: write 30s, 5m, 24h or 7d", quote(s))
	}
	if v < l.min || v > l.max {
		return fmt.Errorf("%s is outside %v to %v", s, l.min, l.max)
	}
	*l.to = v
	return nil
}
