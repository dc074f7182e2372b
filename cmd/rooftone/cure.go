package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/cure"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

func cureCommand() command {
	return command{
		name:     "cure",
		operands: "[CHANNELS]",
		short:    "what an antenna, an amplifier, a cable or a splitter would change",
		about: `Works out what changes between the antenna and the receiver would bring to each
channel: in dB of margin with a 95 % interval, and in channels gained and lost.
It says where the noise comes from, what an amplifier cannot do and why, and
what no dB gives back.

It starts from what was measured: the best place marked in a house's file, or
another with --place, or a visit with --from. Changes are typed in order along
the lead, from the antenna on. Those of the antenna, amplifiers and filters go to the antenna's
end of the lead as installed, and all else to the receiver's; --lead-here says
otherwise. Without changes the common ones are worked out.

Figures of kit are those typed, or else ranges of what such parts commonly have.
All margins are as the radio that measured reads them.`,
		examples: `rooftone cure --site house.jsonl --lead "cable rg6:50ft, splitter 2" --keep
                                         the common changes, and remember the lead
rooftone cure --site house.jsonl --loss 4dB
                                         4 dB more in the lead: which channels fall?
rooftone cure --site house.jsonl --amplifier 20dB/3dB --splitter 4
                                         at the antenna, and a splitter at the sets
rooftone cure --site house.jsonl --lead-here --amplifier 20dB/3dB
                                         the amplifier behind the cable
rooftone cure --site house.jsonl --place "gable, 131" --after "gable, 133" --amplifier 20dB/3dB
                                         was it foreseen?
rooftone cure 17,21 --from sim:orchard --lead none --antenna uhf:+4dB
rooftone cure --from sim:valley --lead none --terminator
                                         and how much noise the antenna brings`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var f cureFlags
			f.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				f.fromGiven = fs.Changed("from")
				f.leadGiven = fs.Changed("lead")
				return f.run(ctx, c, operands)
			}
		},
	}
}

// cureFlags are what is asked and from what.
type cureFlags struct {
	visit     visitFlags
	site      siteFlag
	fromGiven bool

	place, after, head, bare string
	changed                  time.Time

	lead      string
	leadGiven bool
	keep      bool

	parts       []cure.Part
	hereAt      int // where in parts the lead stands; -1 for its usual place
	noLead      bool
	terminator  bool
	noiseFigure *float64
	surrounding string
	huntFile    string

	json  bool
	looks looks
}

func (f *cureFlags) declare(fs *pflag.FlagSet) {
	v := &f.visit
	v.from, v.dwell, f.hereAt = usualSource(), scan.DefaultDwell, -1
	f.site.declare(fs)
	fs.StringVar(&f.place, "place", "", "which of the house's places, a `PLACE` as rank writes it, such as \"gable, 131\"; without it the best")
	for _, kind := range []struct {
		kind  cure.Kind
		usage string
	}{
		{cure.Antenna, "another antenna: what it gains in `DB` over the one now, at all bands or by band as in low:-3dB,high:+2dB,uhf:+5dB"},
		{cure.Height, "another height: the one now and the other, as `20ft:30ft`; a rule of thumb with a wide interval"},
		{cure.Amplifier, "an amplifier of `GAIN/NOISE`, such as 20dB/3dB; with its third-order intercept at the output 20dB/3dB/30dBm"},
		{cure.Wire, "a cable of `KIND:LENGTH`, such as rg6:50ft, rg59:10m or rg11:100ft, or its whole loss at a frequency in MHz, 3.2dB@600"},
		{cure.Splitter, "a splitter for so many `WAYS`"},
		{cure.Loss, "an attenuator, or anything that loses so many `DB`"},
		{cure.Filter, "a `FILTER`: fm or lte; fm/1dB with what it takes from television"},
	} {
		fs.Var(&partFlag{kind.kind, f}, string(kind.kind), kind.usage)
	}
	fs.Var(&hereFlag{f}, "lead-here", "the lead as installed stands here among the changes")
	fs.Lookup("lead-here").NoOptDefVal = "true"
	fs.BoolVar(&f.noLead, "no-lead", false, "the lead as installed is taken out")
	fs.StringVar(&f.lead, "lead", "", "the lead as installed, `PARTS` in order from the antenna, such as \"cable rg6:50ft, splitter 2\", or none; without it the house's")
	fs.BoolVar(&f.keep, "keep", false, "remember --lead in the house's file")
	fs.StringVar(&f.after, "after", "", "the `PLACE` that was marked after the change: compare it with the prediction")
	fs.Var(&day{&f.changed}, "changed", "the `DATE` of the change: compare what was marked at the place since then with what was foretold from before")
	fs.StringVar(&f.head, "head", "", "the `PLACE` that was marked at the antenna itself, with nothing between: tells what the lead loses and where the noise comes from")
	fs.StringVar(&f.bare, "bare", "", "the `PLACE` that was marked with a resistor in the antenna's place: tells how much noise the antenna brings")
	fs.BoolVar(&f.terminator, "terminator", false, "with --from: ask for the antenna to be taken off at the end, for the same")
	fs.Var(&number{to: &f.noiseFigure, min: 0.5, max: 40, unit: "dB"}, "noise-figure", "the radio's noise figure in `DB` at its highest gain, if known; else 3.5 to 8 dB are taken")
	f.surrounding = string(cure.Residential)
	fs.Var(&choice{to: &f.surrounding, words: []string{string(cure.City), string(cure.Residential), string(cure.Rural)}}, "surroundings", "`WHERE` it is: city, residential or rural, for the noise in the air")
	fs.Var(&fileName{&f.huntFile}, "hunt", "what rooftone hunt --json found, a `FILE`: what is strong, and the radio's intercepts")
	fs.Var(&v.from, "from", "where samples come from, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN, sim:FILE.toml or recordings")
	fs.StringVar(&v.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.Var(&number{to: &v.gain, min: -50, max: 120, unit: "dB", auto: true}, "gain", "tuner gain in `DB`, or auto: for each channel as high as it allows")
	fs.Var(&number{to: &v.ppm, min: -300, max: 300, unit: "ppm", auto: true}, "ppm", "error of the radio's clock in `PPM`, + when it runs fast, or auto: found from the stations' pilots")
	fs.Var(&period{to: &v.dwell, min: 10 * time.Millisecond, max: 10 * time.Second}, "dwell", "`TIME` spent on each third of a channel, such as 0.2s: longer finds weaker stations")
	threshold := measure.DefaultThresholdDB
	v.threshold = &threshold
	fs.Var(&number{to: &v.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` at which the receiver decodes")
	fs.BoolVar(&f.json, "json", false, "print JSON, all that was worked out")
	f.looks.declare(fs)
	v.raw.declare(fs)
}

// partFlag adds a change to the list, in the order in which changes are typed.
type partFlag struct {
	kind cure.Kind
	to   *cureFlags
}

func (p *partFlag) Type() string   { return "" }
func (p *partFlag) String() string { return "" }

func (p *partFlag) Set(s string) error {
	part, err := cure.ParsePart(p.kind, s)
	if err != nil {
		return err
	}
	const most = 16
	if len(p.to.parts) >= most {
		return fmt.Errorf("more than %d changes at once", most)
	}
	p.to.parts = append(p.to.parts, part)
	return nil
}

// hereFlag says where among the changes the lead stands.
type hereFlag struct{ to *cureFlags }

func (h *hereFlag) Type() string   { return "bool" }
func (h *hereFlag) String() string { return "false" }

func (h *hereFlag) Set(s string) error {
	on, err := strconv.ParseBool(s)
	if err != nil {
		return err
	}
	h.to.hereAt = -1
	if on {
		h.to.hereAt = len(h.to.parts)
	}
	return nil
}

// change is what was asked for, with its parts at their places.
func (f *cureFlags) change() cure.Change {
	c := cure.Change{Name: "what you asked for", Without: f.noLead}
	for i, p := range f.parts {
		head := p.Kind == cure.Antenna || p.Kind == cure.Height || p.Kind == cure.Amplifier || p.Kind == cure.Filter
		if f.hereAt >= 0 {
			head = i < f.hereAt
		}
		if head {
			c.Head = append(c.Head, p)
		} else {
			c.Tail = append(c.Tail, p)
		}
	}
	return c
}

func (f *cureFlags) asked() bool { return len(f.parts) > 0 || f.noLead }

func (f *cureFlags) run(ctx context.Context, c *console, operands []string) error {
	if err := f.check(); err != nil {
		return err
	}
	var house *site.House
	if f.site.name != "" {
		var err error
		if house, err = f.site.read(c); err != nil {
			return err
		}
	}
	setup := cure.Setup{ThresholdDB: *f.visit.threshold, TopGainDB: math.NaN(), Surroundings: cure.Surroundings(f.surrounding)}
	if f.noiseFigure != nil {
		setup.NoiseFigure = cure.Range{Low: *f.noiseFigure, High: *f.noiseFigure}
	}
	var err error
	if setup.Overload, err = readHunt(f.huntFile); err != nil {
		return err
	}
	if setup.Line, err = f.installed(house); err != nil {
		return err
	}
	a := &cureAnswer{threshold: setup.ThresholdDB, leadText: leadText(setup.Line)}
	var afterwards []cure.Channel
	if f.fromGiven || house == nil {
		err = f.measure(ctx, c, house, operands, &setup, a)
	} else {
		afterwards, err = f.marked(house, operands, &setup, a)
	}
	if err != nil {
		return err
	}
	if f.keep {
		if err := f.remember(c, setup.Line); err != nil {
			return err
		}
	}
	f.answer(setup, a, afterwards)
	if f.json {
		err = writeJSON(c.stdout, a.report())
	} else {
		err = a.write(c.stdout, c.screenFor(f.looks))
	}
	if err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	return nil
}

// check refuses what does not go together.
func (f *cureFlags) check() error {
	for _, flag := range []struct {
		name  string
		given bool
	}{
		{"place", f.place != ""}, {"after", f.after != ""}, {"changed", !f.changed.IsZero()},
		{"head", f.head != ""}, {"bare", f.bare != ""}, {"keep", f.keep},
	} {
		if flag.given && f.site.name == "" {
			return usagef("--%s is about a house's file", flag.name).hint("--site house.jsonl")
		}
		if flag.given && f.fromGiven && flag.name != "keep" {
			return usagef("--%s is about what was marked, and --from measures anew", flag.name).hint("leave one of them out")
		}
	}
	switch {
	case f.terminator && f.site.name != "" && !f.fromGiven:
		return usagef("--terminator measures, and the house's file is only read").hint("name the radio with --from, or a mark made with a resistor with --bare")
	case f.keep && !f.leadGiven:
		return usagef("--keep remembers --lead").hint("--lead \"cable rg6:50ft, splitter 2\" --keep")
	case f.after != "" && !f.changed.IsZero():
		return usagef("--after and --changed exclude each other").hint("leave one of them out")
	case (f.after != "" || !f.changed.IsZero()) && !f.asked():
		return usagef("nothing says what was changed").hint("--amplifier 20dB/3dB, or another change")
	case f.hereAt >= 0 && f.noLead:
		return usagef("--lead-here and --no-lead exclude each other").hint("leave one of them out")
	}
	return nil
}

// installed is the lead as it is: what was typed, or what the house remembers; nil
// where nobody told.
func (f *cureFlags) installed(house *site.House) ([]cure.Part, error) {
	if f.leadGiven {
		line, err := cure.ParseLine(f.lead)
		if err != nil {
			return nil, usagef("--lead: %w", err).hint("--lead \"amplifier 20dB/3dB, cable rg6:50ft, splitter 2\", or --lead none")
		}
		return line, nil
	}
	if house == nil || house.Lead == nil {
		return nil, nil
	}
	out := []cure.Part{}
	for _, text := range house.Lead.Parts {
		line, err := cure.ParseLine(text)
		if err != nil {
			return nil, withHint(fmt.Errorf("the lead in %s: %w", f.site.name, err), "say it anew with --lead and --keep")
		}
		out = append(out, line...)
	}
	return out, nil
}

func leadText(line []cure.Part) []string {
	if line == nil {
		return nil
	}
	out := []string{}
	for i := range line {
		out = append(out, line[i].String())
	}
	return out
}

func (f *cureFlags) remember(c *console, line []cure.Part) error {
	lead := site.Lead{Time: time.Now(), Parts: leadText(line)}
	if err := site.Append(f.site.name, lead); err != nil {
		return err
	}
	c.note("kept the lead in %s", f.site.name)
	return nil
}

// answer works out what was asked.
func (f *cureFlags) answer(setup cure.Setup, a *cureAnswer, afterwards []cure.Channel) {
	p := cure.New(setup)
	a.channels, a.line = setup.Channels, setup.Line
	a.origins, a.counsels = p.Origins(), p.Counsels()
	changes := p.Menu()
	if f.asked() {
		changes = []cure.Change{f.change()}
	}
	// Who names channels wants to hear of those, though all that was heard counts.
	named := func(i int) bool { return !a.named || setup.Channels[i].Wanted }
	for _, change := range changes {
		o := p.Predict(change)
		o.Channels = slices.DeleteFunc(o.Channels, func(c cure.ChannelOutcome) bool { return !named(c.Index) })
		a.outcomes = append(a.outcomes, o)
	}
	a.origins = slices.DeleteFunc(a.origins, func(o cure.Origin) bool { return !named(o.Index) })
	a.asked = f.asked()
	if afterwards != nil {
		check := p.CheckOf(&a.outcomes[0], afterwards)
		a.check = &check
	}
	if a.asked {
		a.parts = append(a.parts, f.parts...)
	}
}

// wantedOf says which channels count: those that were named, else the house's, else
// all.
func wantedOf(channels []cure.Channel, house *site.House, named []band.Channel) []cure.Channel {
	out := channels[:0:0]
	for _, c := range channels {
		if house != nil {
			c.Label = house.Label(c.Channel.Number)
		}
		k := -1
		if house != nil {
			k = slices.IndexFunc(house.Wanted, func(w site.Want) bool { return w.RFChannel == c.Channel.Number })
		}
		switch {
		case named != nil:
			c.Wanted = slices.Contains(named, c.Channel)
		case house != nil && len(house.Wanted) > 0:
			c.Wanted = k >= 0 && house.Wanted[k].Importance > 0
		default:
			c.Wanted = true
		}
		out = append(out, c)
	}
	return out
}
