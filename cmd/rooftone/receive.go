package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/measure"
	"rooftone/scan/receive"
	"rooftone/scan/site"
	"rooftone/scan/tuner"
)

func receiveCommand() command {
	return command{
		name:     "receive",
		operands: "CHANNEL",
		short:    "decode a channel, count its errors and see who it is: for wide radios",
		about: `Receives one channel from samples that show the whole of it: a recording of 6 to
20 MS/s, or a radio that does as much. It prints a line for each second, with
the modulation error ratio behind the equaliser, what that has in hand, the
packets that arrived, those with errors left and the bytes that were corrected;
then who the station says it is, and the totals.

It is the proof of what sweep and explain predict from slices. --ts keeps the
transport stream, byte by byte as it was received; packets with errors left are
marked as such in it. Ctrl-C ends the reception: what was received is kept.`,
		examples: `rooftone receive 14 --from sim:lighthouse --for 10s
                                         the town with a wide radio
rooftone receive 22 --from wide.sigmf-meta --ts 22.ts
                                         keep the transport stream
rooftone receive 22 --from x.bin --format ci16_le --rate 8M --center 521M
                                         raw samples of another program
rooftone receive 22 --from wide.sigmf-meta --site house.jsonl
                                         let the house remember who it is
rooftone receive 22 --from wide.sigmf-meta --json | jq 'select(.kind == "total")'`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var r receiveFlags
			r.declare(fs)
			return r.run
		},
	}
}

type receiveFlags struct {
	wholeChannel
	json  bool
	ts    string
	force bool
	sheet string
	site  siteFlag
}

func (r *receiveFlags) declare(fs *pflag.FlagSet) {
	r.declareSource(fs)
	r.declareSpan(fs, "end after `TIME` of samples, such as 30s")
	threshold := measure.DefaultThresholdDB
	r.visit.threshold = &threshold
	fs.Var(&number{to: &r.visit.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` from which margins are counted")
	fs.Var(&fileName{&r.ts}, "ts", "keep the transport stream in `FILE`, such as 22.ts")
	fs.BoolVar(&r.force, "force", false, "replace a transport stream of that name")
	fs.Var(&fileName{&r.sheet}, "sheet", "draw the reception to `FILE`: .png, .svg or .pdf")
	r.site.declare(fs)
	fs.BoolVar(&r.json, "json", false, "print lines of JSON: one a second, one of the station, one of the total")
	r.visit.looks.declare(fs)
}

func (r *receiveFlags) run(ctx context.Context, c *console, operands []string) error {
	if err := r.check("receive", operands); err != nil {
		return err
	}
	format := ""
	if r.sheet != "" {
		var err error
		if format, err = plot.Format(r.sheet); err != nil {
			return usagef("--sheet: %w", err).hint("--sheet picture.png, .svg or .pdf")
		}
		if r.ts != "" && sameFile(r.ts, r.sheet) {
			return usagef("--ts and --sheet name the same file").hint("give each a name of its own")
		}
	}
	if r.ts != "" && r.from.kind == fromFile && r.from.reads(r.ts) {
		return usagef("--ts names the recording itself").hint("give the transport stream another name")
	}
	if r.ts != "" {
		if err := keepOld(r.ts, r.force); err != nil {
			return err
		}
	}
	signal.Ignore(syscall.SIGPIPE) // a reader that had enough is no failure
	if err := r.open(ctx, c); err != nil {
		return err
	}
	defer func() { r.src.close() }()
	s := &reception{flags: r, console: c, show: newReceiveText(c, r)}
	if r.json {
		s.show = &receiveJSON{flags: r, out: c.stdout}
	}
	var files []*outFile
	for _, f := range []struct {
		name string
		to   **outFile
	}{{r.ts, &s.ts}, {r.sheet, &s.sheet}} {
		if f.name == "" {
			continue
		}
		o, err := createOut(f.name)
		if err != nil {
			for _, o := range files {
				o.discard()
			}
			return err
		}
		defer o.discard()
		*f.to = o
		files = append(files, o)
	}
	if s.ts != nil {
		s.packets = bufio.NewWriterSize(s.ts.f, 1<<17)
	}
	if r.site.name != "" {
		if err := r.site.start(c); err != nil {
			return err
		}
		if _, err := r.site.read(c); err != nil {
			return err
		}
	}
	return s.run(ctx, format)
}

// reception is a reception under way.
type reception struct {
	flags   *receiveFlags
	console *console
	show    receiveShow
	rx      *receive.Reception

	ts, sheet *outFile
	packets   *bufio.Writer
	source    string
	warned    bool
	slow      bool // it was said that parts are left out
}

// receiveShow is how a reception is printed.
type receiveShow interface {
	second(s receive.Second) error
	station(rx *receive.Reception) error
	total(rx *receive.Reception, interrupted bool) error
}

func (s *reception) run(ctx context.Context, sheetFormat string) error {
	o := receive.Options{ThresholdDB: *s.flags.visit.threshold, Second: s.second}
	if s.packets != nil {
		o.Packet = func(p *receive.Packet) error {
			if _, err := s.packets.Write(p.Bytes[:]); err != nil {
				return fmt.Errorf("writing %s: %w", s.flags.ts, cause(err))
			}
			return nil
		}
	}
	s.rx = receive.New(s.flags.channel, o)
	s.source = s.flags.src.info().Name
	s.flags.skips = s.rx.Skip
	listenErr := s.flags.listen(ctx, func(b tuner.Block, fresh bool) error {
		return s.rx.Write(b, fresh)
	})
	if listenErr != nil && s.rx.Receiver() == nil {
		return listenErr // nothing came at all
	}
	if err := s.rx.Flush(); err != nil && listenErr == nil {
		listenErr = err
	}
	interrupted := ctx.Err() != nil
	if err := s.conclude(interrupted, sheetFormat); err != nil {
		return errors.Join(listenErr, err)
	}
	if listenErr != nil {
		return listenErr
	}
	if s.empty() {
		if interrupted {
			s.console.note("interrupted before anything was received; %s tells why", s.flags.explainCommand())
			return errInterrupted
		}
		return s.nothing()
	}
	if interrupted {
		s.console.note("interrupted: what was received by then is kept")
		return errInterrupted
	}
	return nil
}

// empty reports whether not one good packet came.
func (s *reception) empty() bool { return math.IsNaN(s.rx.Total().FirstGood) }

// nothing says that no packet came.
func (s *reception) nothing() error {
	err := fmt.Errorf("nothing was received on channel %d in %s of samples", s.flags.channel.Number, seconds(s.rx.Total().Seconds))
	if s.rx.Total().Seconds < 0.3 {
		return withHint(err, "a receiver needs some tenths of a second to begin: record for longer")
	}
	return withHint(err, "%s tells why", s.flags.explainCommand())
}

// second shows a second. Who waits for a channel that is not there is told so after
// the first one, for a second's samples may take the receiver long when it finds
// nothing in them.
func (s *reception) second(now receive.Second) error {
	if err := s.show.second(now); err != nil {
		return err
	}
	if now.Skipped > 0 && !s.slow {
		s.slow = true
		s.console.note("this computer is too slow to receive all of channel %d: parts are left out, and the total says how much was heard", s.flags.channel.Number)
	}
	if s.warned || s.rx.Total().Locks > 0 {
		return nil
	}
	s.warned = true
	if now.Length >= 1 {
		s.console.note("no 8-VSB found on channel %d in its first second, where some tenths are enough: Ctrl-C ends this, %s tells what is there",
			s.flags.channel.Number, s.flags.explainCommand())
	}
	return nil
}

func seconds(s float64) string { return fmt.Sprintf("%.3g s", s) }

// conclude prints what there is to say, and finishes the files.
func (s *reception) conclude(interrupted bool, sheetFormat string) error {
	for _, show := range []func() error{
		func() error { return s.show.station(s.rx) },
		func() error { return s.show.total(s.rx, interrupted) },
	} {
		if err := show(); err != nil && !errors.Is(err, errDone) {
			return err
		}
	}
	if total := s.rx.Total(); total.Skipped > 0 {
		s.console.note("%.0f %% of the time was heard: %s were left out, as this computer was too slow for all of it; record first, and receive the recording: %s",
			100*total.HeardShare(), seconds(total.Skipped), s.flags.recordCommand())
	}
	if s.ts != nil && !s.empty() {
		if err := s.ts.finish(func(io.Writer) error { return s.packets.Flush() }); err != nil {
			return err
		}
		s.ts.say(s.console, "the transport stream")
	}
	if s.sheet != nil && s.rx.Receiver() != nil {
		look := s.rx.Look()
		look.Source = s.source
		err := s.sheet.finish(func(w io.Writer) error {
			return plot.Reception(w, sheetFormat, look, plot.Options{})
		})
		if err != nil {
			return err
		}
		s.sheet.say(s.console, "the picture")
	}
	return s.remember()
}

// remember adds to the house's file who the station is.
func (s *reception) remember() error {
	who := s.rx.Identity()
	if s.flags.site.name == "" || who == nil {
		return nil
	}
	learnt := learntOf(who, s.flags.channel.Number)
	if err := site.Append(s.flags.site.name, learnt); err != nil {
		return err
	}
	s.console.note("kept: channel %d is %s, in %s", s.flags.channel.Number, oneLine(learnt.Label()), s.flags.site.name)
	return nil
}

// receiveText prints a reception for people.
type receiveText struct {
	console *console
	flags   *receiveFlags
	options plot.TextOptions
	headed  bool
}

func newReceiveText(c *console, r *receiveFlags) *receiveText {
	screen := c.screenFor(r.visit.looks)
	return &receiveText{console: c, flags: r, options: plot.TextOptions{Width: screen.width, UTF8: screen.utf8}}
}

func (t *receiveText) lines(lines ...string) error {
	return printed(plot.Lines(t.console.stdout, lines, t.options))
}

// printed says what is wrong with a line that was printed. Where nobody reads any
// more, reception is done.
func printed(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.EPIPE):
		return errDone
	}
	return fmt.Errorf("writing the results: %w", cause(err))
}

func (t *receiveText) line(format string, args ...any) error {
	_, err := fmt.Fprintln(t.console.stdout, strings.TrimRight(fmt.Sprintf(format, args...), " "))
	return printed(err)
}

func (t *receiveText) second(s receive.Second) error {
	if !t.headed {
		t.headed = true
		if err := t.line("%8s  %7s  %9s  %8s  %7s  %9s", "second", "MER dB", "margin dB", "packets", "errors", "corrected"); err != nil {
			return err
		}
	}
	state := ""
	switch {
	case s.Lost && !s.Locked:
		state = "no lock, samples were lost"
	case s.Lost:
		state = "samples were lost"
	case s.Skipped > 0:
		state = fmt.Sprintf("%s left out", seconds(s.Skipped))
	case s.Clipped > 1e-3:
		state = "overload"
	case !s.Locked:
		state = "no lock"
	case s.Relocked:
		state = "lock was lost"
	}
	return t.line("%8.4g  %7s  %9s  %8d  %7d  %9d  %s", s.At, tenths("%.1f", s.MERDB), tenths("%+.1f", s.MarginDB), s.Packets, s.Failed, s.Corrected, state)
}

// tenths writes a value, or a dash for none.
func tenths(format string, v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "-"
	}
	return fmt.Sprintf(format, v)
}

func (t *receiveText) station(rx *receive.Reception) error {
	who := identityOf(rx.Identity())
	if who == nil {
		return nil
	}
	return t.lines(append([]string{"", fmt.Sprintf("channel %d is", t.flags.channel.Number)}, who.lines()...)...)
}

func (t *receiveText) total(rx *receive.Reception, _ bool) error {
	total := rx.Total()
	if total.Packets == 0 {
		return t.lines("", seconds(total.Seconds)+" of samples: no packets")
	}
	errors := "none with errors"
	if total.Failed > 0 {
		errors = fmt.Sprintf("%d with errors (a share of %.2g, %s the %.2g at which errors begin to be seen)",
			total.Failed, total.FailedShare(), aboveOrBelow(total.FailedShare(), receive.ThresholdErrorShare), receive.ThresholdErrorShare)
	}
	return t.lines("",
		fmt.Sprintf("%s of samples: %d packets, %s, %d bytes corrected", seconds(total.Seconds), total.Packets, errors, total.Corrected),
		fmt.Sprintf("%s, lock found %s, %d seconds with errors or without lock after that", firstGood(total), times(total.Locks), total.BadSeconds),
	)
}

// recordCommand is what to type to record the channel from the same source.
func (r *receiveFlags) recordCommand() string {
	return fmt.Sprintf("rooftone record NAME %d --from %s --for 30s", r.channel.Number, r.visit.from)
}

func aboveOrBelow(v, mark float64) string {
	if v < mark {
		return "below"
	}
	return "above"
}

func firstGood(t receive.Total) string {
	if math.IsNaN(t.FirstGood) {
		return "no packet without errors"
	}
	return fmt.Sprintf("first good packet after %.0f ms", 1e3*t.FirstGood)
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
