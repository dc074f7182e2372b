package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/bundle"
	"rooftone/scan/measure"
)

func bundleCommand() command {
	return command{
		name:     "bundle",
		operands: "FILE [CHANNELS]",
		short:    "what the radio hears and what a set shows, in one file for who builds this",
		about: `Visits the channels as sweep does and makes a field bundle, one file of at most
50 MB: an excerpt of the visit, what is known of the radio, and what a television
set at the same antenna shows. With such files verdicts can be compared with what
sets do. rooftone sends nothing anywhere: pass the file on yourself, if you like.

Try the channels on the set first, and say of each that you tried which it is:
--shows, --breaks-up or --not-found. Without any of the three it asks, before it
measures. CHANNELS and all lists are RF channels as sweep shows them, which are
often not the numbers that a set goes by: its page on signal strength, or a
station's own, tells the RF channel.

Nothing personal goes into it that you do not type: no serial number, name,
address or place, and of times only the day. Which channels are on the air tells
the region, though, to whoever looks it up. The file is a zip with three entries:
look into manifest.json before you pass it on.`,
		examples: `rooftone bundle roof --shows 7,22 --breaks-up 31 --not-found 14,28
rooftone bundle roof                      the same, and it asks
rooftone bundle roof --from big --shows 7 of a recording that is there
rooftone bundle try --from sim:valley --shows 7,13 --not-found 20
                                          try it`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var b bundler
			b.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				b.rec.dwellGiven = fs.Changed("dwell")
				b.told = fs.Changed("shows") || fs.Changed("breaks-up") || fs.Changed("not-found")
				return b.run(ctx, c, operands)
			}
		},
	}
}

// bundler makes a field bundle.
type bundler struct {
	visit visitFlags // as far as they are the same
	rec   recorder   // of the excerpt
	name  string
	force bool

	shows, breaksUp, notFound string
	told                      bool // one of these was given
	typed                     bundle.Typed
	characterFile             string
}

func (b *bundler) declare(fs *pflag.FlagSet) {
	v := &b.visit
	fs.StringVar(&b.shows, "shows", "", "RF `CHANNELS` of which the set shows a steady picture, such as 7,22")
	fs.StringVar(&b.breaksUp, "breaks-up", "", "RF `CHANNELS` that it finds, and whose picture freezes or falls into blocks")
	fs.StringVar(&b.notFound, "not-found", "", "RF `CHANNELS` that were tried and that it does not find")
	fs.StringVar(&b.typed.Set, "set", "", "which television set or tuner it is, in a few `WORDS`; kept as typed, like the next four")
	fs.StringVar(&b.typed.Antenna, "antenna", "", "which antenna it is, in a few `WORDS`")
	fs.Var(&number{to: &b.typed.BearingDeg, min: 0, max: 360, unit: "degrees"}, "bearing", "where the antenna looks, in `DEGREES` clockwise from true north")
	fs.Var(&metres{to: &b.typed.HeightM}, "height", "its `HEIGHT` above the ground, such as 20ft or 6.1m; metres unless it says")
	fs.StringVar(&b.typed.Note, "note", "", "anything worth knowing, a `TEXT`")
	fs.StringVar(&b.characterFile, "character", "", "a `FILE` with the character of this radio; what tells it from others of its kind is left out")
	size := int64(bundle.DefaultBytes)
	b.rec.fit = &size
	fs.Var(&byteSize{&b.rec.fit}, "fit", "the `SIZE` that the bundle may have, at most 50MB")
	fs.BoolVar(&b.force, "force", false, "replace a file of that name")
	v.from = usualSource()
	fs.Var(&v.from, "from", "where samples come from, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN, sim:FILE.toml or recordings, a.cu8,b.cu8 or --from again for each")
	fs.StringVar(&v.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.Var(&number{to: &v.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB`, or auto: for each channel as high as it allows")
	fs.BoolVar(&v.bias, "bias-tee", false, "feed an amplifier through the antenna socket while measuring; not with an antenna that is a short circuit for direct current")
	v.dwell = scan.DefaultDwell
	fs.Var(&period{to: &v.dwell, min: 10 * time.Millisecond, max: time.Second}, "dwell", "`TIME` spent on each third of a channel, such as 0.2s; as the size allows unless given")
	threshold := measure.DefaultThresholdDB
	v.threshold = &threshold
	v.looks.declare(fs)
	v.raw.declare(fs)
}

// check reads the request, and touches nothing but the place of the file.
func (b *bundler) check(operands []string) (*visit, *outFile, error) {
	if len(operands) == 0 {
		return nil, nil, usagef("bundle needs a name for its file").hint("rooftone bundle roof")
	}
	b.name = strings.TrimSuffix(operands[0], bundle.Ending) + bundle.Ending
	if base := filepath.Base(b.name); base == bundle.Ending || strings.HasSuffix(operands[0], string(filepath.Separator)) {
		return nil, nil, usagef("%s is not a name for a bundle", quote(operands[0])).hint("rooftone bundle roof")
	}
	if *b.rec.fit > bundle.DefaultBytes {
		return nil, nil, usagef("--fit %s: a bundle has at most %s", sizeWords(*b.rec.fit), sizeWords(bundle.DefaultBytes)).hint("leave --fit out")
	}
	for flag, text := range map[string]string{"set": b.typed.Set, "antenna": b.typed.Antenna, "note": b.typed.Note} {
		if err := bundle.CheckText(text); err != nil {
			return nil, nil, usagef("--%s: %w", flag, err).hint("write less, on one line")
		}
	}
	req, err := b.visit.check(operands[1:])
	if err != nil {
		return nil, nil, err
	}
	if req.from.kind == fromFile && req.from.reads(b.name) {
		return nil, nil, usagef("a bundle cannot be made from itself").hint("give the new one another name")
	}
	if err := keepOld(b.name, b.force); err != nil {
		return nil, nil, err
	}
	out, err := createOut(b.name)
	return req, out, err
}

// run makes the bundle, or nothing.
func (b *bundler) run(ctx context.Context, c *console, operands []string) error {
	req, out, err := b.check(operands)
	if err != nil {
		return err
	}
	defer out.discard()
	facts, err := b.facts(ctx, c, req)
	if err != nil {
		return err
	}
	src, err := req.from.open(ctx, c, b.visit.raw)
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	if b.visit.bias {
		if err := src.feed(); err != nil {
			return err
		}
	}
	m := bundle.Manifest{Program: version(), Plan: b.visit.plan, Facts: facts, Typed: b.typed, Radio: radioOf(req.from, src)}
	character, err := characterOf(b.characters(c), req.from, src)
	if err != nil {
		return err
	}
	b.rec.kind, b.rec.told, b.rec.reserve = m.Radio.Kind, facts.All(), bundle.Overhead(len(character))
	survey, err := b.listen(ctx, c, req, src, &m, len(operands) > 1)
	defer b.rec.discard()
	if ctx.Err() != nil {
		c.note("interrupted: no bundle was written")
		return errInterrupted
	}
	if err != nil {
		return err
	}
	if err := b.show(c, survey, facts, req.from.kind != fromFile); err != nil {
		return err
	}
	return b.write(c, out, m, character)
}

// listen visits, and packs an excerpt of what was heard. It returns what that
// shows.
func (b *bundler) listen(ctx context.Context, c *console, req *visit, src source, m *bundle.Manifest, named bool) (*scan.Survey, error) {
	dir, name := filepath.Split(b.name)
	folder, err := os.MkdirTemp(dir+".", "."+name+".part-")
	if err != nil {
		return nil, fmt.Errorf("writing %s: %w", b.name, cause(err))
	}
	b.rec.within, b.rec.base, b.rec.single = folder, filepath.Join(folder, "excerpt"), packedEnding
	req.options.Radio = c.known(src)
	asked := req.options
	b.rec.radio = req.options.Radio
	if req.options.Keep, err = b.rec.begin(src.info()); err != nil {
		return nil, err
	}
	b.rec.plan(c, req, named)
	whole, err := src.sweep(ctx, c, req.options)
	if err != nil {
		return nil, err
	}
	held := src.evidenceOf(whole, asked.Channels, asked.Plan, named)
	if err := held.nothing(); err != nil {
		return nil, err
	}
	m.Day = bundle.DayOf(whole.Started)
	m.Channels = []int{}
	for i := range whole.Channels {
		if ch := &whole.Channels[i]; ch.Heard() && slices.Contains(asked.Channels, ch.Channel) {
			m.Channels = append(m.Channels, ch.Channel.Number)
		}
	}
	small, err := b.rec.excerpt(ctx, c, asked, whole)
	if err == nil {
		m.Verdicts = bundle.Judged(small)
	}
	return small, err
}

// show prints what the excerpt shows, and how the set agrees.
func (b *bundler) show(c *console, s *scan.Survey, facts bundle.Facts, all bool) error {
	if !all {
		s = heardOf(s)
	}
	err := showRows(c, s, b.visit.looks, false, false)
	if err == nil {
		_, err = fmt.Fprintln(c.stdout)
	}
	if err == nil {
		err = plot.Agreements(c.stdout, bundle.Compare(facts, s), textOptions(c, s, b.visit.looks, b.visit.stations.units))
	}
	if err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	return nil
}

// write puts the bundle together and gives it its name.
func (b *bundler) write(c *console, out *outFile, m bundle.Manifest, character []byte) error {
	packed, err := b.rec.finish()
	if err != nil {
		return err
	}
	f, err := os.Open(packed)
	if err != nil {
		return fmt.Errorf("writing %s: %w", b.name, cause(err))
	}
	defer f.Close()
	if err := out.finish(func(w io.Writer) error { return bundle.Write(w, m, f, character) }); err != nil {
		return err
	}
	c.note("the bundle is %s; of you it tells nothing that you did not type, but which of channels %s are on the air tells the region", b.name, plot.Ranges(m.Channels))
	return nil
}
