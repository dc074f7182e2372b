package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot/page"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

func aimCommand() command {
	return command{
		name:     "aim",
		operands: "CHANNELS",
		short:    "the live meter, for moving the antenna: one to eight channels",
		about: `Follows the margin of one to eight channels while the antenna is moved: the
number, how far it is below the best so far, and where it was in the last half
minute. A channel that is too weak to decode still moves the number.

It first listens carefully for a second or two, to the channels and some beside
them, and then goes on until q, Ctrl-C or the time of --for. With --page the
meter is also a page for a phone on the same network, with a tone whose pitch
follows the margin.

A recording is played back, in its own time on a terminal or a page and as fast
as it can be with --lines alone, and at its end there is a summary.`,
		examples: `rooftone aim 22                          with the USB radio
rooftone aim 22,24,31 --page 0.0.0.0:8080
                                         and on the phone: scan the code
rooftone aim 22 --site house.jsonl       keep what is marked
rooftone aim 22 --lines --for 10s        a line of JSON for every reading
rooftone aim 22 --from roof.sigmf-meta   a recording, played back
rooftone aim 17,21 --from sim:orchard    in a simulated town; [ and ] turn its antenna`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			a := aimFlags{}
			a.declare(fs)
			return a.run
		},
	}
}

// aimFlags are the flags of aim.
type aimFlags struct {
	visit   visitFlags // as far as they are the same
	lines   bool
	page    string
	paged   bool
	span    time.Duration
	site    siteFlag
	units   unitsFlag
	bearing *float64 // of a simulated antenna
	fs      *pflag.FlagSet
}

func (a *aimFlags) declare(fs *pflag.FlagSet) {
	v := &a.visit
	v.from = usualSource()
	fs.Var(&v.from, "from", "the radio or recording, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN, sim:FILE.toml or recordings, a.cu8,b.cu8 or --from again for each")
	fs.StringVar(&v.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.Var(&number{to: &v.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB`, or auto: for each channel as high as it allows")
	fs.Var(&number{to: &v.ppm, min: -300, max: 300, unit: "ppm", auto: true}, "ppm", "error of the radio's clock in `PPM`, + when it runs fast, or auto: found from the stations' pilots")
	fs.BoolVar(&v.bias, "bias-tee", false, "feed an amplifier through the antenna socket while measuring; not with an antenna that is a short circuit for direct current")
	threshold := measure.DefaultThresholdDB
	v.threshold = &threshold
	fs.Var(&number{to: &v.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` at which the receiver decodes")
	fs.StringVar(&a.page, "page", "", "serve the phone page at `ADDR`: loopback, an IP address, or IP:PORT; 0.0.0.0:8080 is every network of this machine. Beyond loopback the address that is shown is the key: who has it can look and mark")
	a.site.declare(fs)
	fs.Var(&fileName{&v.stations.file}, "stations", "a list of stations, a CSV `FILE`, whose names the meter shows")
	a.units.declare(fs)
	fs.Var(&number{to: &a.bearing, min: 0, max: 360, unit: "degrees"}, "bearing", "where the antenna of a simulated town points at first, in `DEGREES` clockwise from north; the keys [ and ] turn it, { and } carry it half a foot west and east")
	fs.BoolVar(&a.lines, "lines", false, "print a line of JSON for every reading")
	fs.Var(&period{to: &a.span, min: 100 * time.Millisecond, max: 24 * time.Hour}, "for", "end after `TIME` of readings, such as 10s")
	v.looks.declare(fs)
	v.raw.declare(fs)
	a.fs = fs
}

// onePace makes some twenty readings a second of a single channel: as many as
// an eye can use, with a reading renewed wholly in less than 0.2 s.
const onePace = 48 * time.Millisecond

// check reads the request and touches nothing.
func (a *aimFlags) check(operands []string) (sourceWord, meter.Options, error) {
	var none sourceWord
	v := &a.visit
	if len(operands) == 0 {
		return none, meter.Options{}, usagef("aim wants one to %d channels", meter.MostChannels).hint("rooftone aim 22; rooftone sweep finds out which there are")
	}
	some, plan, err := v.channels(operands)
	if err != nil {
		return none, meter.Options{}, err
	}
	if len(some) > meter.MostChannels {
		return none, meter.Options{}, usagef("%d channels are too many to aim by", len(some)).hint("choose at most %d: the weakest are those that need the aiming", meter.MostChannels)
	}
	from, err := v.from.parse()
	if err != nil {
		return none, meter.Options{}, err
	}
	if a.bearing != nil && from.kind != fromSim {
		return none, meter.Options{}, usagef("--bearing turns the antenna of a simulated town, and %s is none", v.from).hint("leave it out; a mark takes a heading with NAME @ HEADING")
	}
	if a.bearing != nil {
		from.turnTo(a.bearing)
	}
	if from.kind == fromFile && from.stdin() {
		return none, meter.Options{}, usagef("aim goes through a recording twice, and standard input can be read once").hint("save it to a file, and name that with --from")
	}
	if err := v.suits(from); err != nil {
		return none, meter.Options{}, err
	}
	if err := v.stations.read(); err != nil {
		return none, meter.Options{}, err
	}
	if from.kind.radio() && len(v.raw.rates) > 0 {
		return none, meter.Options{}, usagef("aim chooses a radio's rate by itself").hint("leave --rate out")
	}
	a.paged = a.fs.Changed("page")
	o := meter.Options{Channels: some, Plan: plan, GainDB: v.gain, PPM: v.ppm, ThresholdDB: *v.threshold}
	if len(some) == 1 {
		o.Pace = onePace
	}
	return from, o, nil
}

func (a *aimFlags) run(ctx context.Context, c *console, operands []string) error {
	from, options, err := a.check(operands)
	if err != nil {
		return err
	}
	if !a.lines && !isTerminal(c.stdout) && !a.paged {
		return usagef("aim draws on a terminal, and standard output is none").hint("--lines prints a line of JSON for every reading")
	}
	var listener net.Listener
	if a.paged {
		if listener, err = page.Listen(a.page); err != nil {
			if errors.Is(err, page.ErrAddress) {
				err = &usageError{err}
			}
			return withHint(err, "--page loopback, --page 0.0.0.0:8080")
		}
		defer listener.Close()
	}
	// Opened before the house file is touched: a radio that is missing must
	// leave nothing behind.
	src, err := a.open(ctx, c, from)
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	if a.visit.bias {
		if err := src.feed(); err != nil {
			return err
		}
	}
	options.Radio = c.known(src)
	s := &aimSession{console: c, options: options, plan: a.visit.plan, source: src.info().Name, stations: &a.visit.stations, latest: map[int]meter.Update{}}
	s.follow = func(ctx context.Context, deliver func(meter.Update) error) error { return s.meter.Run(ctx, deliver) }
	if src.playlist != nil {
		s.playback = &playback{inOwnTime: !a.lines || a.paged}
		s.follow = func(ctx context.Context, deliver func(meter.Update) error) error {
			err := s.playback.follow(ctx, s.meter, func(ctx context.Context) (tuner.Playlist, error) {
				return from.reopen(ctx, c, a.visit.raw)
			}, deliver)
			return recordMore(err, src)
		}
		defer s.summarise(ctx, src)
	}
	if radio, ok := src.tuner.(*sim.Tuner); ok && radio.Town().Antenna != nil {
		s.rotor = newRotor(radio, from.stand)
	}
	if a.site.name != "" {
		if err := a.site.start(c); err != nil {
			return err
		}
		house, err := a.site.read(c)
		if err != nil {
			return err
		}
		s.file, s.house = a.site.name, house
		if err := a.visit.stations.join(house); err != nil {
			return err
		}
	}
	s.told = a.units.telling(s.house)
	if s.meter, err = meter.New(src.tuner, withLearned(options, s)); err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	if listener != nil {
		served := s.serve(ctx, listener)
		defer func() { stop(); <-served }()
	}
	switch {
	case a.lines:
		return s.printLines(ctx, a.span)
	case isTerminal(c.stdout):
		s.drawn = true
		err := s.show(ctx, a.span, a.visit.looks)
		s.listMarks()
		return err
	}
	return s.quietly(ctx, a.span)
}

func withLearned(o meter.Options, s *aimSession) meter.Options {
	tell := onceTold(s.say)
	o.Learned = func(survey *scan.Survey) {
		s.learned(survey)
		tell(survey)
	}
	return o
}

// open opens the source; a simulated radio keeps to real time, as people do.
func (a *aimFlags) open(ctx context.Context, c *console, from sourceWord) (source, error) {
	if from.kind != fromSim {
		return from.open(ctx, c, a.visit.raw)
	}
	radio, err := from.openSim(sim.Options{RealTime: true, Epoch: time.Now()})
	if err != nil {
		return source{}, err
	}
	return source{tuner: radio}, nil
}

// errDone ends an aim that has lasted as long as was asked.
var errDone = errors.New("done")

// lasting wraps a receiver of readings so that it ends after a time of them.
func lasting(span time.Duration, deliver func(meter.Update) error) func(meter.Update) error {
	var first time.Time
	return func(u meter.Update) error {
		if err := deliver(u); err != nil || u.State == meter.Learning || u.State == meter.Uncovered || span == 0 {
			return err
		}
		if first.IsZero() {
			first = u.Time
		}
		if u.Time.Sub(first) >= span {
			return errDone
		}
		return nil
	}
}

// printLines prints readings until it is told to stop, nobody reads them any
// more, or the time is over.
func (s *aimSession) printLines(ctx context.Context, span time.Duration) error {
	signal.Ignore(syscall.SIGPIPE) // a reader that had enough is no failure
	out := json.NewEncoder(s.console.stdout)
	err := s.follow(ctx, lasting(span, func(u meter.Update) error {
		s.note(u)
		if err := out.Encode(meter.NewLine(u)); errors.Is(err, syscall.EPIPE) || errors.Is(err, os.ErrClosed) {
			return errDone
		} else if err != nil {
			return fmt.Errorf("writing the readings: %w", cause(err))
		}
		return nil
	}))
	if errors.Is(err, errDone) {
		return nil
	}
	return err
}

// quietly measures for the phone alone.
func (s *aimSession) quietly(ctx context.Context, span time.Duration) error {
	err := s.follow(ctx, lasting(span, func(u meter.Update) error {
		s.note(u)
		return nil
	}))
	if errors.Is(err, errDone) {
		return nil
	}
	return err
}
