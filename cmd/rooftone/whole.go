package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/band"
	"rooftone/scan/receive"
	"rooftone/scan/tuner"
)

// wholeChannel is one channel from a source that sees the whole of it.
type wholeChannel struct {
	visit visitFlags // as far as they are the same
	span  time.Duration

	from    sourceWord
	channel band.Channel
	src     source

	// skips says that samples which come faster than they can be dealt with are left
	// out, and hears how much after the last block.
	skips func(time.Duration)
}

// declareSource declares the flags that say where the samples come from.
func (w *wholeChannel) declareSource(fs *pflag.FlagSet) {
	v := &w.visit
	v.from = usualSource()
	fs.Var(&v.from, "from", "where samples come from, a `SOURCE`: a recording, sim:lighthouse, sim:FILE.toml, or a radio that sees 6 MHz at once, soapy:driver=NAME")
	fs.StringVar(&v.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.Var(&number{to: &v.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB`, or auto: as high as it allows")
	fs.BoolVar(&v.bias, "bias-tee", false, "feed an amplifier through the antenna socket while listening; not with an antenna that is a short circuit for direct current")
	v.raw.declare(fs)
}

// declareSpan declares --for.
func (w *wholeChannel) declareSpan(fs *pflag.FlagSet, usage string) {
	fs.Var(&period{to: &w.span, min: 100 * time.Millisecond, max: 7 * 24 * time.Hour}, "for", usage)
}

// check reads the request and touches nothing.
func (w *wholeChannel) check(command string, operands []string) error {
	if len(operands) == 0 {
		return usagef("%s wants one channel", command).hint("rooftone %s 22", command)
	}
	channels, _, err := w.visit.channels(operands)
	if err != nil {
		return err
	}
	if len(channels) != 1 {
		return usagef("%s wants one channel, not %d", command, len(channels)).hint("rooftone %s %d", command, channels[0].Number)
	}
	w.channel = channels[0]
	if w.from, err = w.visit.from.parse(); err != nil {
		return err
	}
	return w.visit.suits(w.from)
}

// open opens the source.
func (w *wholeChannel) open(ctx context.Context, c *console) error {
	var err error
	if w.src, err = w.from.open(ctx, c, w.visit.raw); err != nil {
		return err
	}
	if w.visit.bias {
		if err := w.src.feed(); err != nil {
			w.src.close()
			return err
		}
	}
	return nil
}

// listen delivers the channel's samples until their end, that of the context or
// of --for. A source that does not show the whole channel is told so.
func (w *wholeChannel) listen(ctx context.Context, deliver receive.Deliver) error {
	var heard float64
	timed := func(b tuner.Block, fresh bool) error {
		if w.span > 0 {
			left := max(w.span.Seconds()-heard-b.Skipped.Seconds(), 0)
			if n := int(left*b.RateHz + 0.5); n < len(b.Samples) {
				b.Samples = b.Samples[:n]
			}
		}
		heard += float64(len(b.Samples))/b.RateHz + b.Skipped.Seconds()
		if err := deliver(b, fresh); err != nil {
			return err
		}
		if w.span > 0 && heard >= w.span.Seconds()-1e-6 {
			return errDone
		}
		return nil
	}
	var err error
	if w.src.tuner != nil {
		rate := receive.Rate(w.src.tuner)
		if asked := w.visit.raw.rate(); asked > 0 {
			rate = asked
		}
		if !receive.Covers(w.channel, w.channel.CenterHz(), rate) {
			return w.narrow(&receive.NarrowError{Channel: w.channel, CenterHz: w.channel.CenterHz(), RateHz: rate})
		}
		err = w.fromTuner(ctx, rate, timed)
		if err != nil && heard == 0 && !errors.Is(err, errDone) {
			// A radio that was found but cannot be set so is most likely a
			// narrow one.
			err = withHint(err, "receiving needs a radio that takes in 6 MHz at once; this one can still measure: %s", w.explainCommand())
		}
	} else {
		err = receive.FromPlaylist(ctx, w.src.playlist, w.channel, timed)
		if narrow := (*receive.NarrowError)(nil); errors.As(err, &narrow) {
			return w.narrow(narrow)
		}
	}
	if errors.Is(err, errDone) {
		return nil
	}
	return err
}

// fromTuner delivers what a radio hears. A simulated one waits.
func (w *wholeChannel) fromTuner(ctx context.Context, rate float64, deliver receive.Deliver) error {
	if w.skips == nil || w.from.kind == fromSim {
		return receive.FromTuner(ctx, w.src.tuner, w.channel, rate, w.visit.gain, deliver)
	}
	backlog := receive.NewBacklog(deliver)
	err := receive.FromTuner(ctx, w.src.tuner, w.channel, rate, w.visit.gain, backlog.Put)
	skipped, failure := backlog.Close()
	w.skips(skipped)
	if failure != nil {
		return failure
	}
	return err
}

// explainCommand is what to type to learn more of the channel from the same source.
func (w *wholeChannel) explainCommand() string {
	command := fmt.Sprintf("rooftone explain %d", w.channel.Number)
	if !w.visit.from.usual() {
		command += " --from " + w.visit.from.String()
	}
	if w.from.kind != fromFile {
		return command // explain asks a radio for a rate of its own
	}
	return command + w.visit.raw.String()
}

// narrow says of samples that do not show the whole channel what can be done with
// them instead: what a part of a channel tells, or nothing.
func (w *wholeChannel) narrow(e *receive.NarrowError) error {
	command := w.explainCommand()
	err := fmt.Errorf("%s: %w", w.visit.from, e)
	low, high := max(e.Channel.LowerHz, e.CenterHz-e.RateHz/2), min(e.Channel.UpperHz(), e.CenterHz+e.RateHz/2)
	switch {
	case w.src.tuner != nil:
		return withHint(err, "receiving needs samples at 6 MS/s or more; a narrow radio measures and predicts instead: %s", command)
	case high <= low:
		return withHint(err, "it shows nothing of that channel, but %.2f to %.2f MHz: name a channel that lies there", (e.CenterHz-e.RateHz/2)/1e6, (e.CenterHz+e.RateHz/2)/1e6)
	case e.RateHz >= band.WidthHz:
		return withHint(err, "name a channel that lies within it, or measure the %.1f MHz that it shows of this one: %s", (high-low)/1e6, command)
	}
	return withHint(err, "receiving needs samples at 6 MS/s or more; the %.1f MHz that these show of the channel tell its margin: %s", (high-low)/1e6, command)
}
