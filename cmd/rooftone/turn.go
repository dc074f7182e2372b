package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/site"
	"rooftone/scan/tuner/sim"
)

func turnCommand() command {
	return command{
		name:     "turn",
		operands: "[CHANNELS]",
		short:    "turn the antenna slowly, and learn the heading of the strongest signal",
		about: `Follows one to eight channels, the wanted ones unless some are named, while the
antenna is turned slowly, and fits the heading at which each is strongest, with
its uncertainty: that is better than the eye, for it uses the whole of the beam.
What it finds is kept in the house's file.

By hand: turn some 5 degrees a second, and where you know the bearing, type it
and press Enter: at the start, at the end, and every 60 degrees or so. An empty
line ends it. With a rotator say --start and --speed instead. The stronger side
has to be passed on both sides. In a simulated town with an antenna, --speed
turns it.`,
		examples: `rooftone turn 22 --site house.jsonl       by hand
rooftone turn --site house.jsonl --start 0 --speed 6
                                          a rotator, 6 degrees a second
rooftone turn 21 --site farm.jsonl --start 20 --speed 6 --from sim:orchard
                                          in the simulated town`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var t turner
			t.declare(fs)
			return t.run
		},
	}
}

// turner follows channels while an antenna is turned.
type turner struct {
	visit visitFlags // as far as they are the same
	site  siteFlag

	place       string
	height      *float64
	start, rate *float64
	way         string
	sigma       *float64
	declination *float64
	span        time.Duration
	json        bool
}

func (t *turner) declare(fs *pflag.FlagSet) {
	t.site.declare(fs)
	t.place = "here"
	fs.StringVar(&t.place, "place", t.place, "the `NAME` of the place, to keep the headings under")
	fs.Var(&number{to: &t.height, min: -500, max: 9000, unit: "metres"}, "height", "the antenna's height in `METRES`, from wherever you count")
	fs.Var(&number{to: &t.start, min: 0, max: 360, unit: "degrees"}, "start", "with --speed: the bearing in `DEGREES` at which it starts")
	fs.Var(&number{to: &t.rate, min: -60, max: 60, unit: "degrees a second"}, "speed", "how fast a rotator turns, in `DEGREES` a second, clockwise; - is the other way")
	fs.Var(&choice{to: &t.way, words: []string{"clockwise", "counter"}}, "way", "by hand: which `WAY` it is turned, clockwise or counter; the shorter from bearing to bearing unless given")
	fs.Var(&number{to: &t.sigma, min: 0.1, max: 45, unit: "degrees"}, "bearing-error", "how well you know a bearing, as a standard deviation in `DEGREES`; 2 unless given")
	fs.Var(&number{to: &t.declination, min: -180, max: 180, unit: "degrees"}, "declination", "by how many `DEGREES` a compass points east of true north here (west is negative): bearings are then a compass's, and headings are told both ways; look it up, for it drifts from year to year")
	fs.Var(&period{to: &t.span, min: time.Second, max: time.Hour}, "for", "end after a `TIME`; with --speed a little more than a full turn unless given")
	fs.BoolVar(&t.json, "json", false, "print JSON")
	v := &t.visit
	v.from = usualSource()
	fs.Var(&v.from, "from", "the radio, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN or sim:FILE.toml")
	fs.StringVar(&v.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.Var(&number{to: &v.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB`, or auto: for each channel as high as it allows")
	fs.Var(&number{to: &v.ppm, min: -300, max: 300, unit: "ppm", auto: true}, "ppm", "error of the radio's clock in `PPM`, + when it runs fast, or auto: found from the stations' pilots")
	fs.BoolVar(&v.bias, "bias-tee", false, "feed an amplifier through the antenna socket while measuring; not with an antenna that is a short circuit for direct current")
	threshold := measure.DefaultThresholdDB
	v.threshold = &threshold
	fs.Var(&number{to: &v.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` at which the receiver decodes")
}

// check reads the request and touches nothing but the house's file, to read it.
func (t *turner) check(c *console, operands []string) (sourceWord, meter.Options, error) {
	fail := func(err error) (sourceWord, meter.Options, error) { return sourceWord{}, meter.Options{}, err }
	v := &t.visit
	switch {
	case t.site.name == "":
		return fail(t.site.check("turn"))
	case t.start == nil && t.rate != nil, t.start != nil && t.rate == nil:
		return fail(usagef("--start and --speed go together").hint("--start 0 --speed 6"))
	case t.rate != nil && *t.rate == 0:
		return fail(usagef("--speed 0 does not turn").hint("--start 0 --speed 6"))
	case t.rate != nil && t.way != "":
		return fail(usagef("--way is for turning by hand").hint("a speed below 0 turns counter-clockwise"))
	}
	from, err := v.from.parse()
	if err != nil {
		return fail(err)
	}
	if !from.kind.radio() {
		return fail(usagef("turn wants a radio: a recording cannot be turned").hint("rooftone sweep --from %s measures it", v.from))
	}
	if from.kind == fromSim && v.bias {
		return fail(usagef("--bias-tee is for radios, and %s is none", v.from).hint("leave --bias-tee out"))
	}
	house, err := t.site.read(c)
	if err != nil {
		return fail(err)
	}
	if len(operands) == 0 {
		if len(house.Wanted) == 0 {
			return fail(withHint(fmt.Errorf("no channels are wanted in %s", t.site.name), "rooftone turn 22 --site %s", t.site.name))
		}
		if plan, err := band.ParsePlan(v.plan); err == nil {
			if err := lacking(plan, house.Wanted, t.site.name); err != nil {
				return fail(err)
			}
		}
		operands = []string{channelList(house.Wanted)}
	}
	some, plan, err := v.channels(operands)
	if err != nil {
		return fail(err)
	}
	if len(some) > meter.MostChannels {
		return fail(usagef("%d channels are too many to turn by", len(some)).hint("name at most %d of them", meter.MostChannels))
	}
	return from, meter.Options{Channels: some, Plan: plan, GainDB: v.gain, PPM: v.ppm, ThresholdDB: *v.threshold}, nil
}

func (t *turner) run(ctx context.Context, c *console, operands []string) error {
	from, options, err := t.check(c, operands)
	if err != nil {
		return err
	}
	src, err := t.open(ctx, c, from)
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	if t.visit.bias {
		if err := src.feed(); err != nil {
			return err
		}
	}
	if err := site.Append(t.site.name); err != nil { // better known of before than after
		return err
	}
	r, err := newRotation(t, c, src)
	if err != nil {
		return err
	}
	options.Radio = c.known(src)
	options.Learned = onceTold(r.say)
	m, err := meter.New(src.tuner, options)
	if err != nil {
		return err
	}
	if err := r.follow(ctx, m); err != nil {
		return err
	}
	headings := r.fit(options.Channels)
	if err := t.keep(c, headings, r.curves(options.Channels), src.info().Name); err != nil {
		return err
	}
	if err := t.show(c, headings); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	if ctx.Err() != nil {
		return c.interrupted()
	}
	for _, h := range headings {
		if h.peak != nil {
			return nil
		}
	}
	return withHint(errors.New("no heading was found: nothing is kept"), "pass the stronger side on both sides, slower, and tell the bearing more often")
}

// open opens the source. A simulated radio keeps to real time where a person
// tells the bearings, and need not where a rate does.
func (t *turner) open(ctx context.Context, c *console, from sourceWord) (source, error) {
	if from.kind != fromSim {
		return from.open(ctx, c, t.visit.raw)
	}
	o := sim.Options{}
	if t.start != nil {
		start := t.trueBearing(*t.start)
		o.BearingDeg = &start
	}
	if t.rate == nil {
		o.RealTime, o.Epoch = true, time.Now()
	}
	radio, err := from.openSim(o)
	if err != nil {
		return source{}, err
	}
	return source{tuner: radio}, nil
}

// trueBearing is where a bearing that was told points, from true north.
func (t *turner) trueBearing(deg float64) float64 {
	if t.declination == nil {
		return deg
	}
	return site.TrueBearing(deg, *t.declination)
}

// keep adds the headings that were found to the house's file, and the curves that
// they were found in.
func (t *turner) keep(c *console, list []turnHeading, curves []site.Curve, from string) error {
	var records []site.Record
	var names []string
	for _, h := range list {
		if h.peak == nil {
			continue
		}
		bearing := math.Mod(math.Round(h.peak.Heading.Value*10)/10, 360)
		mark := site.Mark{
			Time: time.Now(), Place: t.place, BearingDeg: &bearing, HeightM: t.height,
			Note: fmt.Sprintf("heading of channel %d, fitted to a turn, within %.1f°", h.channel, coverageDeg(h.peak.Heading.Sigma)),
			Look: site.Turned, Program: version(), Source: from, ThresholdDB: *t.visit.threshold,
		}
		heard := heardNow(h.best)
		heard.Margin = &h.peak.Level
		mark.Heard = []site.Heard{heard}
		records = append(records, mark)
		names = append(names, spotName(mark))
	}
	if len(records) == 0 {
		return nil
	}
	records = append(records, site.TurnRecord{
		Time: time.Now(), Place: t.place, HeightM: t.height, Program: version(), Source: from,
		ThresholdDB: *t.visit.threshold, DeclinationDeg: t.declination, Curves: curves,
	})
	if err := site.Append(t.site.name, records...); err != nil {
		return err
	}
	for _, n := range names {
		c.note("kept: %s, in %s", n, t.site.name)
	}
	return nil
}

// coverageDeg is half a 95 % interval.
func coverageDeg(sigma float64) float64 { return 1.96 * sigma }

// show prints what was found.
func (t *turner) show(c *console, list []turnHeading) error {
	if t.json {
		return writeJSON(c.stdout, t.report(list))
	}
	for _, h := range list {
		line := fmt.Sprintf("%3d  no heading: %v", h.channel, h.err)
		if p := h.peak; p != nil {
			where := fmt.Sprintf("%.0f° ±%.0f°", turned(p.Heading.Value), math.Ceil(coverageDeg(p.Heading.Sigma)))
			if t.declination != nil {
				where += fmt.Sprintf(" by compass, %.0f° true", turned(site.TrueBearing(p.Heading.Value, *t.declination)))
			}
			line = fmt.Sprintf("%3d  strongest at %s, margin %+.1f dB", h.channel, where, p.Level.Value)
			if p.Width != nil {
				line += fmt.Sprintf(", beam %.0f° wide", p.Width.Value)
			}
			for _, o := range p.Others {
				line += fmt.Sprintf("; also %.0f°, %.1f dB below", math.Mod(math.Round(o.BearingDeg), 360), o.BelowDB)
			}
		}
		if _, err := fmt.Fprintln(c.stdout, line); err != nil {
			return err
		}
	}
	return nil
}

// turnSchema names the JSON that turn prints, as sweepSchema does sweep's.
const turnSchema = "rooftone.turn/1"

// turnReport is what a turn found: a public contract.
type turnReport struct {
	Schema   string       `json:"schema"`
	Place    string       `json:"place"`
	Headings []turnResult `json:"headings"`
}

// turnResult is one channel's heading.
type turnResult struct {
	RFChannel       int        `json:"rf_channel"`
	HeadingDeg      *float64   `json:"heading_deg"`
	HeadingSigmaDeg *float64   `json:"heading_sigma_deg"`
	TrueHeadingDeg  *float64   `json:"true_heading_deg"`
	MarginDB        *float64   `json:"margin_db"`
	MarginSigmaDB   *float64   `json:"margin_sigma_db"`
	BeamwidthDeg    *float64   `json:"beamwidth_deg"`
	OtherLobes      []turnLobe `json:"other_lobes"`
	Samples         int        `json:"samples"`
	Problem         *string    `json:"problem"`
}

// turnLobe is a further direction from which a channel is heard.
type turnLobe struct {
	BearingDeg *float64 `json:"bearing_deg"`
	BelowDB    *float64 `json:"below_db"`
}

func (t *turner) report(list []turnHeading) turnReport {
	out := turnReport{Schema: turnSchema, Place: t.place, Headings: []turnResult{}}
	for _, h := range list {
		row := turnResult{RFChannel: h.channel, Samples: h.samples, OtherLobes: []turnLobe{}}
		if p := h.peak; p != nil {
			row.HeadingDeg, row.HeadingSigmaDeg = round(p.Heading.Value, 0.1), round(p.Heading.Sigma, 0.1)
			row.MarginDB, row.MarginSigmaDB = decibels(&p.Level)
			if t.declination != nil {
				row.TrueHeadingDeg = round(site.TrueBearing(p.Heading.Value, *t.declination), 0.1)
			}
			if p.Width != nil {
				row.BeamwidthDeg = round(p.Width.Value, 0.1)
			}
			for _, o := range p.Others {
				row.OtherLobes = append(row.OtherLobes, turnLobe{round(o.BearingDeg, 0.1), round(o.BelowDB, 0.1)})
			}
		} else {
			problem := h.err.Error()
			row.Problem = &problem
		}
		out.Headings = append(out.Headings, row)
	}
	return out
}
