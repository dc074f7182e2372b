package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// huntDwell is as long as the slowest of what is hunted wants: impulses of the
// mains.
const huntDwell = time.Duration(hunt.InsideDwell * float64(time.Second))

func huntCommand() command {
	return command{
		name:     "hunt",
		operands: "[CHANNELS]",
		short:    "look for what spoils channels: interference, overload, the radio's own",
		about: `Looks for what does not belong: lone tones, narrow carriers, raised floors,
impulses, second stations and spilling neighbours inside the channels; what is
strong enough outside them to overload a tuner; and what a tuner makes of it. To
tell stations from products of overload it measures at several gains.

It names the suspects in order of harm, each with its evidence, what it costs
which channel, and the cheapest next test. A recording that --keep made holds
all that the hunt heard: whoever has it can hunt in it.`,
		examples: `rooftone hunt                            every channel
rooftone hunt 7-13,22                    those that matter
rooftone hunt 22 --spectrum 22.png       and its spectrum, with the suspects on it
rooftone hunt 22 --waterfall when.png    and what came when
rooftone hunt --terminator               which tones are the radio's own
rooftone hunt --keep saturday            keep what was heard, for a helper
rooftone hunt --from saturday.sigmf-meta hunt in it
rooftone hunt --from sim:millrace        a simulated town with faults`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var h huntFlags
			h.declare(fs)
			return h.run
		},
	}
}

// huntFlags are hunt's.
type huntFlags struct {
	shown shownFlags
	from  fromFlag
	raw   rawFlags
	plan  string

	dwell      time.Duration
	gain, ppm  *float64
	bias       bool
	threshold  *float64
	fullScale  *float64
	reach      bool
	terminator bool
	keep       string
	rec        recorder
	json       bool
	looks      looks

	spectrumFile, waterfallFile string
}

func (h *huntFlags) declare(fs *pflag.FlagSet) {
	h.from = usualSource()
	fs.Var(&h.from, "from", "where samples come from, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN, sim:FILE.toml or recordings, a.cu8,b.cu8 or --from again for each")
	fs.StringVar(&h.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	h.dwell = huntDwell
	fs.Var(&period{to: &h.dwell, min: 20 * time.Millisecond, max: 10 * time.Second}, "dwell", "`TIME` spent on each third of a channel: longer finds fainter tones and rarer impulses")
	fs.Var(&number{to: &h.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB` for the channels, or auto: as high as each allows; the gain-step test uses several")
	fs.Var(&number{to: &h.ppm, min: -300, max: 300, unit: "ppm", auto: true}, "ppm", "error of the radio's clock in `PPM`, + when it runs fast, or auto: found from the stations' pilots")
	fs.BoolVar(&h.reach, "reach", false, "look at all that the radio reaches, not only at the services known to be strong: takes half a minute more")
	fs.BoolVar(&h.terminator, "terminator", false, "ask for the antenna to be taken off at the end, and see which tones stay: those are the radio's own")
	fs.StringVar(&h.keep, "keep", "", "keep what is heard as the recording `NAME`, to hunt in it again")
	fs.BoolVar(&h.rec.force, "force", false, "replace a recording of that name")
	fs.BoolVar(&h.bias, "bias-tee", false, "feed an amplifier through the antenna socket while measuring; not with an antenna that is a short circuit for direct current")
	threshold := measure.DefaultThresholdDB
	h.threshold = &threshold
	fs.Var(&number{to: &h.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` at which the receiver decodes")
	fs.Var(&number{to: &h.fullScale, min: -200, max: 60, unit: "dBm"}, "full-scale", "the input level in `DBM` that makes 0 dBFS at the highest gain, if known: powers in dBm")
	fs.Var(&fileName{&h.spectrumFile}, "spectrum", "draw the channels' spectrum with the suspects to `FILE`: .png, .svg or .pdf")
	fs.Var(&fileName{&h.waterfallFile}, "waterfall", "draw what came when, where the first suspect stands, to `FILE`: .png, .svg or .pdf")
	fs.BoolVar(&h.json, "json", false, "print JSON, the whole of what was found")
	h.shown.declare(fs)
	h.looks.declare(fs)
	h.raw.declareFor(fs, "for a raw recording: its `RATE` in samples per second, such as 2.4M")
}

// check reads the request.
func (h *huntFlags) check(operands []string) (sourceWord, hunt.Options, error) {
	v := visitFlags{plan: h.plan}
	channels, plan, err := v.channels(operands)
	if err != nil {
		return sourceWord{}, hunt.Options{}, err
	}
	from, err := h.from.parse()
	if err != nil {
		return from, hunt.Options{}, err
	}
	if from.kind.radio() && h.raw.given() {
		return from, hunt.Options{}, usagef("--format, --rate and --center are for raw recordings, and %s is a radio", h.from).
			hint("leave them out, or name the recording with --from")
	}
	if !from.kind.radio() {
		for flag, given := range map[string]bool{"gain": h.gain != nil, "reach": h.reach, "terminator": h.terminator, "keep": h.keep != ""} {
			if given {
				return from, hunt.Options{}, usagef("--%s is for radios, and %s is a recording", flag, h.from).hint("leave --%s out", flag)
			}
		}
	}
	if !from.kind.feeds() && h.bias {
		return from, hunt.Options{}, usagef("--bias-tee is for radios, and %s is none", h.from).hint("leave --bias-tee out")
	}
	if h.rec.force && h.keep == "" {
		return from, hunt.Options{}, usagef("--force belongs to --keep").hint("leave --force out")
	}
	if h.keep != "" {
		if err := h.rec.setName(h.keep); err != nil {
			return from, hunt.Options{}, err
		}
		if err := h.rec.check(from); err != nil {
			return from, hunt.Options{}, err
		}
	}
	o := hunt.Options{
		Channels: channels, Plan: plan, Dwell: h.dwell, GainDB: h.gain, PPM: h.ppm,
		ThresholdDB: *h.threshold, Reach: h.reach,
	}
	if h.fullScale != nil {
		o.Calibration = &measure.Calibration{FullScaleDBm: h.fullScale}
	}
	return from, o, nil
}

// run hunts, shows what was found and keeps what was asked for.
func (h *huntFlags) run(ctx context.Context, c *console, operands []string) error {
	from, o, err := h.check(operands)
	if err != nil {
		return err
	}
	pictures, err := h.createPictures()
	if err != nil {
		return err
	}
	defer func() {
		for _, p := range pictures {
			p.file.discard()
		}
	}()
	src, err := from.open(ctx, c, h.raw)
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	if h.bias {
		if err := src.feed(); err != nil {
			return err
		}
	}
	o.Radio = c.known(src)
	if h.keep != "" {
		defer h.rec.discard()
		h.rec.radio = o.Radio
		if o.Keep, err = h.rec.begin(src.info()); err != nil {
			return err
		}
	}
	if h.terminator {
		o.Terminate = terminate(c, src.tuner)
	}
	o.Fall = h.waterfallFile != ""
	found, err := h.hunt(ctx, c, src, o)
	if err != nil {
		if found != nil && !found.Silent() {
			if showErr := h.show(c, found, o); showErr != nil {
				return showErr
			}
		}
		return err
	}
	held := src.evidenceOf(found.Survey, o.Channels, o.Plan, len(operands) > 0)
	if err := held.nothing(); err != nil && !found.Interrupted {
		return err
	}
	if err := h.finish(ctx, c, src, found, pictures, o); err != nil {
		return err
	}
	held.tell(c)
	c.tellKnown(found.Survey, src.tuner == nil)
	return nil
}

func (h *huntFlags) hunt(ctx context.Context, c *console, src source, o hunt.Options) (*hunt.Hunt, error) {
	bar := c.newProgress()
	defer bar.erase()
	o.Progress = func(what string, done, total int) {
		line := "listening to " + what
		if total > 0 {
			line += fmt.Sprintf(", %d %% done", min(100, 100*done/total))
		}
		bar.say(line)
	}
	if ask := o.Terminate; ask != nil {
		o.Terminate = func(ctx context.Context) error {
			bar.erase()
			return ask(ctx)
		}
	}
	if src.tuner != nil {
		return hunt.Listen(ctx, src.tuner, o)
	}
	return hunt.Play(ctx, src.playlist, o)
}

// finish shows and draws what was found.
func (h *huntFlags) finish(ctx context.Context, c *console, src source, found *hunt.Hunt, pictures []*huntPicture, o hunt.Options) error {
	if err := h.show(c, found, o); err != nil {
		return err
	}
	if src.tuner == nil && src.verify(ctx) != nil {
		c.note("%s was damaged since it was made: its checksum does not fit, so mistrust these figures", h.from)
	}
	if h.keep != "" {
		name, err := h.rec.finish()
		if err != nil {
			return err
		}
		if name != "" {
			c.note("the recording is %s", name)
		}
	}
	for _, p := range pictures {
		if err := p.finish(found); err != nil {
			return err
		}
		p.file.say(c, "the picture")
	}
	if found.Interrupted {
		return c.interrupted()
	}
	return nil
}

// show prints what was found.
func (h *huntFlags) show(c *console, found *hunt.Hunt, o hunt.Options) error {
	var err error
	if h.json {
		err = writeJSON(c.stdout, newHuntReport(found, o))
	} else {
		err = writeHunt(c.stdout, found, o, c.screenFor(h.looks))
	}
	if err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	return nil
}

// huntPicture is a picture of a hunt that was asked for, and its file.
type huntPicture struct {
	format string
	file   *outFile
	draw   func(io.Writer, string, *hunt.Hunt) error
}

func (p *huntPicture) finish(found *hunt.Hunt) error {
	return p.file.finish(func(w io.Writer) error { return p.draw(w, p.format, found) })
}

// createPictures opens the files of the pictures that were asked for.
func (h *huntFlags) createPictures() (out []*huntPicture, err error) {
	if h.spectrumFile != "" && h.waterfallFile != "" && sameFile(h.spectrumFile, h.waterfallFile) {
		return nil, usagef("--spectrum and --waterfall name the same file").hint("give each picture a name of its own")
	}
	for _, want := range []struct {
		flag, name string
		draw       func(io.Writer, string, *hunt.Hunt) error
	}{
		{"spectrum", h.spectrumFile, drawSuspects},
		{"waterfall", h.waterfallFile, drawFall},
	} {
		if want.name == "" {
			continue
		}
		p := &huntPicture{draw: want.draw}
		if p.format, err = plot.Format(want.name); err != nil {
			err = usagef("--%s: %w", want.flag, err).hint("--%s picture.png, .svg or .pdf", want.flag)
		} else {
			p.file, err = createOut(want.name)
		}
		if err != nil {
			for _, other := range out {
				other.file.discard()
			}
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// drawSuspects draws the spectrum with all suspects but the radio's own tones.
func drawSuspects(w io.Writer, format string, found *hunt.Hunt) error {
	return plot.Suspects(w, format, found.Survey, found.Harmful(), plot.Options{ThresholdDB: found.Survey.ThresholdDB})
}

func drawFall(w io.Writer, format string, found *hunt.Hunt) error {
	f := found.Fall
	if f == nil {
		return errors.New("nothing was heard that could be drawn")
	}
	fall := plot.Fall{Started: f.Started, StartHz: f.StartHz, StepHz: f.StepHz, RowSeconds: f.RowSeconds, Rows: f.Rows}
	for i := range found.Survey.Channels {
		fall.Channels = append(fall.Channels, found.Survey.Channels[i].Channel)
	}
	if s := f.Suspect; s != nil && s.FrequencyHz != nil {
		fall.Marks = append(fall.Marks, plot.Mark{Hz: s.FrequencyHz.Value, WidthHz: s.WidthHz, Text: s.Name})
	}
	return plot.Waterfall(w, format, fall, plot.Options{})
}

// terminable is a radio that can be taken off its antenna without hands: a
// simulated one.
type terminable interface{ SetTerminated(on bool) error }

// terminate returns what has the antenna taken off: a person who is asked, or
// the simulated radio itself.
func terminate(c *console, t tuner.Tuner) func(context.Context) error {
	if own, ok := t.(terminable); ok {
		return func(context.Context) error { return own.SetTerminated(true) }
	}
	return func(ctx context.Context) error {
		c.note("take the antenna's lead off the radio, put a 75 ohm terminator in its place if there is one, and press Enter")
		pressed := make(chan error, 1)
		go func() {
			_, err := bufio.NewReader(c.stdin).ReadString('\n')
			pressed <- err
		}()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-pressed:
			if err != nil {
				return withHint(fmt.Errorf("waiting for the antenna to be taken off: %w", cause(err)), "--terminator wants somebody who presses Enter")
			}
		}
		return nil
	}
}
