package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/recording"
	"rooftone/scan/site"
)

// visitFlags are the flags of every command that visits channels.
type visitFlags struct {
	from fromFlag
	raw  rawFlags

	plan  string
	dwell time.Duration
	gain  *float64
	ppm   *float64
	bias  bool

	threshold   *float64
	noiseFigure *float64
	fullScale   *float64
	field       fieldFlags

	json, csv bool
	all       bool
	looks     looks

	mapFile, spectrumFile, echoesFile, responseFile string

	// For explain: one channel in full, and its page.
	one       bool
	sheetFile string

	// For mark: as long a look at each channel as explain takes, and without
	// what explains the rows to somebody who has read it.
	careful, brief bool

	stations stationFlags
	beside   *besideFlags // for sweep: what was expected; nil otherwise

	// onlyHeard leaves out the channels of which a recording holds nothing: set
	// when nobody named them.
	onlyHeard bool
}

func (v *visitFlags) declare(fs *pflag.FlagSet) {
	v.from = usualSource()
	fs.Var(&v.from, "from", "where samples come from, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN, sim:FILE.toml or recordings, a.cu8,b.cu8 or --from again for each")
	fs.StringVar(&v.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.Var(&number{to: &v.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB`, or auto: for each channel as high as it allows")
	fs.Var(&number{to: &v.ppm, min: -300, max: 300, unit: "ppm", auto: true}, "ppm", "error of the radio's clock in `PPM`, + when it runs fast, or auto: found from the stations' pilots")
	fs.BoolVar(&v.bias, "bias-tee", false, "feed an amplifier through the antenna socket while measuring; not with an antenna that is a short circuit for direct current")
	v.dwell = scan.DefaultDwell
	if v.one || v.careful {
		v.dwell = explainDwell
	}
	fs.Var(&period{to: &v.dwell, min: 10 * time.Millisecond, max: 10 * time.Second}, "dwell", "`TIME` spent on each third of a channel, such as 0.2s: longer finds weaker stations")
	threshold := measure.DefaultThresholdDB
	v.threshold = &threshold
	fs.Var(&number{to: &v.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` at which the receiver decodes")
	fs.Var(&number{to: &v.noiseFigure, min: 0, max: 40, unit: "dB"}, "noise-figure", "the radio's noise figure in `DB`, if known: powers in dBm")
	fs.Var(&number{to: &v.fullScale, min: -200, max: 60, unit: "dBm"}, "full-scale", "the input level in `DBM` that makes 0 dBFS at the gain in use, if known: powers in dBm")
	v.field.declare(fs)
	if v.one {
		fs.Var(&fileName{&v.sheetFile}, "sheet", "draw the channel's page to `FILE`: .png, .svg or .pdf")
	} else {
		fs.Var(&fileName{&v.mapFile}, "map", "draw the presence map to `FILE`: .png, .svg or .pdf")
		fs.BoolVar(&v.all, "all", false, "list every channel, not only those with something on them")
	}
	fs.Var(&fileName{&v.echoesFile}, "echoes", "draw the echoes, and how far behind the station's path they come, to `FILE`: .png, .svg or .pdf")
	fs.Var(&fileName{&v.responseFile}, "response", "draw the response across each channel to `FILE`: .png, .svg or .pdf")
	fs.Var(&fileName{&v.spectrumFile}, "spectrum", "draw the spectrum to `FILE`: .png, .svg or .pdf")
	fs.BoolVar(&v.json, "json", false, "print JSON, the whole of what was measured")
	fs.BoolVar(&v.csv, "csv", false, "print CSV, the same figures, one line a channel")
	v.looks.declare(fs)
	v.stations.declare(fs)
	v.stations.declareSite(fs)
	v.raw.declare(fs)
}

// visit is a request that has been checked.
type visit struct {
	from     sourceWord
	options  scan.Options
	pictures []*picture
}

// check reads the request, and touches nothing but the places where pictures
// will go.
func (v *visitFlags) check(operands []string) (*visit, error) {
	if v.json && v.csv {
		return nil, usagef("--json and --csv exclude each other").hint("leave one of them out")
	}
	if v.noiseFigure != nil && v.fullScale != nil {
		return nil, usagef("--noise-figure and --full-scale exclude each other").hint("give the one that is known better")
	}
	channels, plan, err := v.channels(operands)
	if err != nil {
		return nil, err
	}
	if v.one && len(channels) != 1 {
		return nil, usagef("explain wants one channel").hint("rooftone explain 22, or rooftone sweep for several")
	}
	from, err := v.from.parse()
	if err != nil {
		return nil, err
	}
	if err := v.suits(from); err != nil {
		return nil, err
	}
	if err := v.stations.read(); err != nil {
		return nil, err
	}
	pictures, err := v.createPictures()
	if err != nil {
		return nil, err
	}
	o := scan.Options{
		Channels: channels, Plan: plan,
		Dwell: v.dwell, GainDB: v.gain, PPM: v.ppm, ThresholdDB: *v.threshold,
		Identify: true,
	}
	o.RateHz = v.raw.rate() // of a radio: a recording has its own
	if v.noiseFigure != nil || v.fullScale != nil {
		o.Calibration = &measure.Calibration{NoiseFigureDB: v.noiseFigure, FullScaleDBm: v.fullScale}
	}
	if err := v.field.check(o.Calibration); err != nil {
		discardPictures(pictures)
		return nil, err
	}
	return &visit{from, o, pictures}, nil
}

// suits refuses flags that a kind of source has no use for.
func (v *visitFlags) suits(from sourceWord) error {
	switch {
	case from.kind.radio() && (len(v.raw.formats) > 0 || len(v.raw.centers) > 0):
		return usagef("--format and --center are for raw recordings, and %s is a radio", v.from).
			hint("leave them out, or name the recording with --from")
	case from.kind.radio() && len(v.raw.rates) > 1:
		return usagef("--rate lists several rates, and %s is one radio", v.from).hint("give one")
	case !from.kind.radio() && v.gain != nil:
		return usagef("--gain is for radios: a recording keeps the gain it was made with").hint("leave --gain out")
	case !from.kind.feeds() && v.bias:
		return usagef("--bias-tee is for radios, and %s is none", v.from).hint("leave --bias-tee out")
	}
	return nil
}

// channels reads the operand, a list of channels.
func (v *visitFlags) channels(operands []string) (wanted, all []band.Channel, err error) {
	plan, err := band.ParsePlan(v.plan)
	if err != nil {
		return nil, nil, usagef("--plan: %w", err).hint("leave --plan out for RF channels 2-36")
	}
	var list string
	switch len(operands) {
	case 0:
	case 1:
		list = operands[0]
	default:
		for _, o := range operands {
			if looksLikeSource(o) {
				return nil, nil, usagef("%s is no channel", quote(o)).hint("to measure a recording or another source, write --from %s", o)
			}
		}
		return nil, nil, usagef("%d arguments where one list of channels belongs", len(operands)).
			hint("write the channels as one list, such as 7-13,22,31")
	}
	wanted, err = plan.Select(list)
	if err != nil {
		hint := "write the channels as one list, such as 7-13,22,31"
		if looksLikeSource(list) {
			hint = "to measure a recording or another source, write --from " + list
		}
		return nil, nil, usagef("%w", err).hint("%s", hint)
	}
	return wanted, plan.Channels, nil
}

// run visits, shows what was found and keeps what was asked for. With a
// recorder, the samples are kept too.
func (v *visitFlags) run(ctx context.Context, c *console, operands []string, rec *recorder) error {
	req, err := v.check(operands)
	if err != nil {
		return err
	}
	defer discardPictures(req.pictures)
	if req.options.RateHz >= band.WidthHz && v.stations.site.name != "" {
		// Such a visit learns who the stations are, as receive does.
		if err := v.stations.site.start(c); err != nil {
			return err
		}
	}
	if err := v.stations.readHouse(c); err != nil {
		return err
	}
	if err := v.beside.expect(v); err != nil {
		return err
	}
	if rec != nil {
		if err := rec.check(req.from); err != nil {
			return err
		}
		defer rec.discard()
	}
	src, err := req.from.open(ctx, c, v.raw)
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	if v.bias {
		if err := src.feed(); err != nil {
			return err
		}
	}
	req.options.Radio = c.known(src)
	asked := req.options
	v.onlyHeard = src.playlist != nil && len(operands) == 0 && !v.all
	if rec != nil {
		rec.radio = req.options.Radio
		if req.options.Keep, err = rec.begin(src.info()); err != nil {
			return err
		}
		rec.plan(c, req, len(operands) > 0)
	}
	survey, err := src.sweep(ctx, c, req.options)
	if err != nil {
		// What was measured before it failed is worth showing.
		if survey != nil && anyCovered(survey) {
			if showErr := v.show(c, survey); showErr != nil {
				return showErr
			}
		}
		// So is what was recorded before the radio went away. A recording that
		// could not be written says so itself, and is not finished.
		if rec != nil {
			if _, recErr := rec.excerpt(ctx, c, asked, survey); recErr != nil {
				return err
			}
			if name, recErr := rec.finish(); recErr == nil && name != "" {
				c.note("the recording %s holds what was heard until then", name)
			}
		}
		if cut := (*recording.TruncatedError)(nil); errors.As(err, &cut) {
			err = withHint(err, "have it sent again")
		}
		return err
	}
	held := src.evidenceOf(survey, asked.Channels, asked.Plan, len(operands) > 0)
	// What was asked to be kept is kept, whatever can be said of it.
	if err := held.nothing(); err != nil && !survey.Interrupted && (rec == nil || !rec.kept) {
		return err
	}
	if rec != nil {
		if survey, err = rec.excerpt(ctx, c, asked, survey); err != nil {
			return err
		}
	}
	if err := v.show(c, survey); err != nil {
		return err
	}
	if err := v.stations.remember(c, survey); err != nil {
		return err
	}
	if !survey.Interrupted {
		held.tell(c)
	}
	if src.verify(ctx) != nil {
		c.note("%s was damaged since it was made: its checksum does not fit, so mistrust these figures", v.from)
		c.hint("have it sent again")
	}
	if rec != nil {
		name, err := rec.finish()
		if err != nil {
			return err
		}
		if name != "" {
			c.note("the recording is %s", name)
		}
	}
	for _, p := range req.pictures {
		if err := p.finish(c, survey); err != nil {
			return err
		}
	}
	if survey.Interrupted {
		return c.interrupted()
	}
	return nil
}

func anyCovered(s *scan.Survey) bool {
	for i := range s.Channels {
		if s.Channels[i].Heard() {
			return true
		}
	}
	return false
}

// heardOf is a survey without the channels of which nothing was heard.
func heardOf(s *scan.Survey) *scan.Survey {
	only := *s
	only.Channels = slices.DeleteFunc(slices.Clone(s.Channels), func(c scan.Channel) bool { return !c.Heard() })
	return &only
}

// show prints the survey as the flags want it.
func (v *visitFlags) show(c *console, s *scan.Survey) error {
	v.stations.name(s)
	if v.onlyHeard {
		s = heardOf(s)
	}
	var err error
	switch {
	case v.json:
		err = writeJSON(c.stdout, v.report(s))
	case v.csv:
		err = writeCSV(c.stdout, v.report(s))
	case v.one:
		err = showDetails(c, s, v.looks, v.stations.units)
	default:
		err = showRows(c, s, v.looks, v.all, v.brief)
	}
	if err == nil && !v.json && !v.csv {
		err = v.stations.show(c, s, v.looks)
	}
	if err == nil && !v.json && !v.csv {
		err = v.beside.show(c, s, v.looks)
	}
	if err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	return nil
}

// report is the survey with what is known of its stations.
func (v *visitFlags) report(s *scan.Survey) report {
	r := newReport(s)
	r.Expected = v.stations.expected(s)
	r.Beside = v.beside.report(s)
	for i := range r.Channels {
		if most := s.Channels[i].CNAtMostDB; most != nil {
			r.Channels[i].CNAtMostDB, r.Channels[i].MarginAtMostDB = round(*most, 0.1), round(*most-s.ThresholdDB, 0.1)
		}
		r.Channels[i].Station = v.stations.identity(&s.Channels[i])
		r.Channels[i].Stations = v.stations.report(r.Channels[i].RFChannel)
	}
	return r
}

// picture is a picture that was asked for, and its file.
type picture struct {
	flag   string
	name   string
	format string
	file   *outFile
	units  func() site.Units // known once the house is read; nil: nobody's
	draw   func(io.Writer, string, *scan.Survey, plot.Options) error
}

// finish draws the picture, and says that it is there.
func (p *picture) finish(c *console, s *scan.Survey) error {
	o := plot.Options{ThresholdDB: s.ThresholdDB}
	if p.units != nil {
		o.Units = p.units()
	}
	err := p.file.finish(func(w io.Writer) error { return p.draw(w, p.format, s, o) })
	if err == nil {
		p.file.say(c, "the picture")
	}
	return err
}

// createPictures opens the files of the pictures that were asked for.
func (v *visitFlags) createPictures() ([]*picture, error) {
	var out []*picture
	for _, want := range []struct {
		flag, name string
		draw       func(io.Writer, string, *scan.Survey, plot.Options) error
	}{
		{"map", v.mapFile, plot.Skyline},
		{"sheet", v.sheetFile, drawSheet},
		{"spectrum", v.spectrumFile, plot.Spectrum},
		{"echoes", v.echoesFile, plot.Echoes},
		{"response", v.responseFile, plot.Response},
	} {
		if want.name == "" {
			continue
		}
		format, err := plot.Format(want.name)
		if err != nil {
			return nil, usagef("--%s: %w", want.flag, err).hint("--%s picture.png, .svg or .pdf", want.flag)
		}
		for _, other := range out {
			if sameFile(other.name, want.name) {
				return nil, usagef("--%s and --%s name the same file", other.flag, want.flag).hint("give each picture a name of its own")
			}
		}
		out = append(out, &picture{flag: want.flag, name: want.name, format: format, draw: want.draw, units: func() site.Units { return v.stations.units }})
	}
	for i, p := range out {
		var err error
		if p.file, err = createOut(p.name); err != nil {
			discardPictures(out[:i])
			return nil, err
		}
	}
	return out, nil
}

func discardPictures(list []*picture) {
	for _, p := range list {
		p.file.discard()
	}
}
