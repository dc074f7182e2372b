package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/band"
	"rooftone/scan/decide"
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
What it finds is kept in the house's file. Of several channels it also tells the
one heading that serves all of them best, and how exactly that has to be held.

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

	units       unitsFlag
	place       string
	height      length
	start, rate *float64
	way         string
	sigma       *float64
	declination *float64
	span        time.Duration
	json        bool

	house   *site.House // as it was before
	told    telling
	by      site.North // of the bearings that are typed, and of what is shown
	heightM *float64
	first   []site.Record // what the house's file learns by the way

	wanted []site.Want // of the channels that are followed
}

func (t *turner) declare(fs *pflag.FlagSet) {
	t.site.declare(fs)
	t.place = "here"
	fs.StringVar(&t.place, "place", t.place, "the `NAME` of the place, to keep the headings under")
	fs.Var(&t.height, "height", "the antenna's `HEIGHT`, from wherever you count, such as 20ft or 6.1m; a number alone is in the house's units, metres unless it has some")
	t.units.declare(fs)
	fs.Var(&number{to: &t.start, min: 0, max: 360, unit: "degrees"}, "start", "with --speed: the bearing in `DEGREES` at which it starts")
	fs.Var(&number{to: &t.rate, min: -60, max: 60, unit: "degrees a second"}, "speed", "how fast a rotator turns, in `DEGREES` a second, clockwise; - is the other way")
	fs.Var(&choice{to: &t.way, words: []string{"clockwise", "counter"}}, "way", "by hand: which `WAY` it is turned, clockwise or counter; the shorter from bearing to bearing unless given")
	fs.Var(&number{to: &t.sigma, min: 0.1, max: 45, unit: "degrees"}, "bearing-error", "how well you know a bearing, as a standard deviation in `DEGREES`; 2 unless given")
	fs.Var(&number{to: &t.declination, min: -180, max: 180, unit: "degrees"}, "declination", "by how many `DEGREES` a compass points east of true north here (west is negative): bearings are then a compass's, and headings are told both ways; look it up, for it drifts from year to year. The house's own unless given")
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
	t.settle(house, from.kind == fromSim)
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
	for _, c := range some {
		want := site.Want{RFChannel: c.Number, Importance: 1}
		if i := slices.IndexFunc(house.Wanted, func(w site.Want) bool { return w.RFChannel == c.Number }); i >= 0 {
			want = house.Wanted[i]
		}
		t.wanted = append(t.wanted, want)
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
	options.Learned = onceTold(func(text string) { r.note("%s", text) })
	m, err := meter.New(src.tuner, options)
	if err != nil {
		return err
	}
	broken, err := r.follow(ctx, m)
	if err != nil && !broken {
		return err
	}
	headings := r.fit(options.Channels)
	curves := r.curves(options.Channels)
	single := t.single(curves) // before they are kept by another north, maybe
	if err := t.keep(c, headings, curves, src.info().Name); err != nil {
		return err
	}
	if err := t.show(c, headings, single); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	if broken {
		return c.interrupted()
	}
	for _, h := range headings {
		if h.peak != nil {
			return nil
		}
	}
	return withHint(errors.New("no heading was found: nothing is kept"), "%s", nextTurn(headings))
}

// nextTurn is what to do about a turn that found nothing.
func nextTurn(list []turnHeading) string {
	is := func(target error) bool {
		return slices.ContainsFunc(list, func(h turnHeading) bool { return errors.Is(h.err, target) })
	}
	switch {
	case is(site.ErrPointings):
		return "tell the bearing at the start, at the end, and every 60 degrees or so between"
	case is(site.ErrNotPassed), is(site.ErrFlatPart):
		return "turn all the way round, so that the stronger side is passed on both sides, and tell the bearing every 60 degrees or so"
	}
	return "pass the stronger side on both sides, slower, and tell the bearing more often"
}

// settle finds out how bearings and heights are told at the house. A simulated
// town's are from true north unless somebody says otherwise.
func (t *turner) settle(house *site.House, simulated bool) {
	t.house, t.told = house, t.units.telling(house)
	var typed site.Units
	t.heightM, typed = t.height.in(t.told.units)
	switch t.by = house.North; {
	case t.declination != nil:
		t.by = site.CompassNorth
	case t.by == site.CompassNorth:
		t.declination = house.DeclinationDeg
	case t.by == "" && simulated:
		t.by = site.TrueNorth
	}
	t.first = firstSetting(house, typed, t.by, t.declination)
	t.told.learn(t.first)
}

// kept is a bearing that was told as the house counts it.
func (t *turner) kept(deg float64) float64 {
	if t.by == site.CompassNorth && t.told.north == site.TrueNorth && t.declination != nil {
		return site.TrueBearing(deg, *t.declination)
	}
	return deg
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
	if t.by != site.CompassNorth || t.declination == nil {
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
		bearing := math.Mod(math.Round(t.kept(h.peak.Heading.Value)*10)/10, 360)
		mark := site.Mark{
			Time: time.Now(), Place: t.place, BearingDeg: &bearing, HeightM: t.heightM,
			Note: fmt.Sprintf("heading of channel %d, fitted to a turn, within %.1f°", h.channel, coverageDeg(h.peak.Heading.Sigma)),
			Look: site.Turned, Program: version(), Source: from, ThresholdDB: *t.visit.threshold,
		}
		heard := heardNow(h.best)
		if h.best.HasMargin() {
			heard.Margin = &h.peak.Level
		} else {
			heard.CN = &h.peak.Level
		}
		mark.Heard = []site.Heard{heard}
		records = append(records, mark)
		names = append(names, t.told.mark(mark))
	}
	if len(records) == 0 {
		return nil
	}
	record := site.TurnRecord{
		Time: time.Now(), Place: t.place, HeightM: t.heightM, Program: version(), Source: from,
		ThresholdDB: *t.visit.threshold, Curves: curves,
	}
	if t.told.north == site.CompassNorth {
		record.DeclinationDeg = t.declination
	} else {
		for _, c := range curves {
			for i := range c.Points {
				c.Points[i].BearingDeg = t.kept(c.Points[i].BearingDeg)
			}
		}
	}
	records = append(append(records, record), t.first...)
	if err := site.Append(t.site.name, records...); err != nil {
		return err
	}
	for _, n := range names {
		c.note("kept: %s, in %s", n, t.site.name)
	}
	settled(c, t.first, t.site.name)
	return nil
}

// single is the best one heading for all the channels that were followed; nil
// where there is only one, or nothing was heard.
func (t *turner) single(curves []site.Curve) *decide.Single {
	if len(t.wanted) < 2 {
		return nil
	}
	turn := site.TurnRecord{Time: time.Now(), Place: t.place, HeightM: t.heightM, Curves: curves}
	r := decide.Rank(nil, []site.TurnRecord{turn}, t.wanted, site.DefaultOptions())
	if len(r.Headings) == 0 {
		return nil
	}
	return &r.Headings[0]
}

// coverageDeg is half a 95 % interval.
func coverageDeg(sigma float64) float64 { return 1.96 * sigma }

// show prints what was found.
func (t *turner) show(c *console, list []turnHeading, single *decide.Single) error {
	if t.json {
		report := t.report(list)
		if single != nil {
			h := newRankHeading(single)
			report.Single = &h
		}
		return writeJSON(c.stdout, report)
	}
	for _, h := range list {
		line := fmt.Sprintf("%3d  no heading: %v", h.channel, h.err)
		if p := h.peak; p != nil {
			where := fmt.Sprintf("%s ±%.0f°%s", site.Heading(p.Heading.Value), math.Ceil(coverageDeg(p.Heading.Sigma)), t.by.Words())
			if t.by == site.CompassNorth && t.declination != nil {
				where += fmt.Sprintf(", %s true", site.Heading(t.trueBearing(p.Heading.Value)))
			}
			line = fmt.Sprintf("%3d  strongest at %s, margin %+.1f dB", h.channel, where, p.Level.Value)
			if !h.best.HasMargin() {
				line = fmt.Sprintf("%3d  strongest at %s, C/N %.1f dB, of no 8-VSB", h.channel, where, p.Level.Value)
			}
			if p.Width != nil {
				line += fmt.Sprintf(", beam %.0f° wide", p.Width.Value)
			}
			for _, o := range p.Others {
				line += fmt.Sprintf("; also %s, %.1f dB below", site.Heading(o.BearingDeg), o.BelowDB)
			}
		}
		if _, err := fmt.Fprintln(c.stdout, line); err != nil {
			return err
		}
	}
	if single != nil {
		line := plot.SingleLine(single, t.place, t.by)
		if err := plot.Lines(c.stdout, []string{"", line}, plot.TextOptions{Width: c.screenFor(looks{}).width, UTF8: true}); err != nil {
			return err
		}
	}
	if t.by == "" {
		_, err := fmt.Fprintf(c.stdout, "%s; rooftone house --north says\n", t.by.Sentence())
		return err
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
	North    *string      `json:"north"` // that heading_deg is counted from; null: nobody said

	// Single is the best one heading for all the channels that were followed.
	Single *rankHeading `json:"single"`
}

// turnResult is one channel's heading.
type turnResult struct {
	RFChannel       int        `json:"rf_channel"`
	HeadingDeg      *float64   `json:"heading_deg"`
	HeadingSigmaDeg *float64   `json:"heading_sigma_deg"`
	TrueHeadingDeg  *float64   `json:"true_heading_deg"`
	MarginDB        *float64   `json:"margin_db"`
	MarginSigmaDB   *float64   `json:"margin_sigma_db"`
	CNDB            *float64   `json:"cn_db"` // instead of the margin, of what is no 8-VSB
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
	out := turnReport{Schema: turnSchema, Place: t.place, Headings: []turnResult{}, North: word(t.by)}
	for _, h := range list {
		row := turnResult{RFChannel: h.channel, Samples: h.samples, OtherLobes: []turnLobe{}}
		if p := h.peak; p != nil {
			row.HeadingDeg, row.HeadingSigmaDeg = round(p.Heading.Value, 0.1), round(p.Heading.Sigma, 0.1)
			if h.best.HasMargin() {
				row.MarginDB, row.MarginSigmaDB = decibels(&p.Level)
			} else {
				row.CNDB, _ = decibels(&p.Level)
			}
			if t.by == site.CompassNorth && t.declination != nil {
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
