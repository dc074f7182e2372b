package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"slices"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/cure"
	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// measure visits the channels now.
func (f *cureFlags) measure(ctx context.Context, c *console, house *site.House, operands []string, setup *cure.Setup, a *cureAnswer) error {
	list := operands
	if len(list) == 0 && house != nil && len(house.Wanted) > 0 {
		list = []string{channelList(house.Wanted)}
	}
	req, err := f.visit.check(list)
	if err != nil {
		return err
	}
	if f.terminator && !req.from.kind.radio() {
		return usagef("--terminator is for radios, and %s is a recording", f.visit.from).hint("leave --terminator out")
	}
	src, err := req.from.open(ctx, c, f.visit.raw)
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	survey, err := src.sweep(ctx, c, req.options)
	if err != nil {
		return err
	}
	held := src.evidenceOf(survey, req.options.Channels, req.options.Plan, len(list) > 0)
	if err := held.nothing(); err != nil && !survey.Interrupted {
		return err
	}
	if survey.Interrupted {
		return c.interrupted()
	}
	f.visit.stations.house = house
	f.visit.stations.name(survey)
	a.what = survey.Source
	if gains := src.info().GainsDB; len(gains) > 0 {
		setup.TopGainDB = slices.Max(gains)
	}
	setup.Fixed, setup.BackEnd = f.visit.gain != nil, cure.BackEndOf(survey.Radio)
	named := req.options.Channels
	if len(list) == 0 {
		named = nil
	}
	a.listed, a.named = len(list) > 0, len(operands) > 0
	setup.Channels = wantedOf(cure.ChannelsOf(survey), house, named)
	if !f.terminator {
		return nil
	}
	if err := terminate(c, src.tuner)(ctx); err != nil {
		return err
	}
	bare, err := src.sweep(ctx, c, req.options)
	if err != nil {
		return fmt.Errorf("measuring without the antenna: %w", err)
	}
	if bare.Interrupted {
		return c.interrupted()
	}
	setup.Bare = cure.BareOf(setup.Channels, cure.ChannelsOf(bare))
	return nil
}

// marked takes what was marked at the house, and what afterwards where a change is
// to be checked.
func (f *cureFlags) marked(house *site.House, operands []string, setup *cure.Setup, a *cureAnswer) (afterwards []cure.Channel, err error) {
	var named []band.Channel
	if len(operands) > 0 {
		if named, _, err = f.visit.channels(operands); err != nil {
			return nil, err
		}
	}
	marks := house.Marks
	before := slices.Clone(marks)
	if !f.changed.IsZero() {
		before = slices.DeleteFunc(before, func(m site.Mark) bool { return !m.Time.Before(f.changed) })
	}
	spot, survey, err := f.spot(house, before, f.place)
	if err != nil {
		return nil, err
	}
	a.what, a.listed, a.named = spot, true, named != nil
	setup.Channels = wantedOf(cure.ChannelsOf(survey), house, named)
	if survey.ThresholdDB > 0 {
		setup.ThresholdDB, a.threshold = survey.ThresholdDB, survey.ThresholdDB
	}
	o := f.placeOptions(house)
	a.elsewhere = betterElsewhere(setup.Channels, site.Spots(before, o), spot)
	for i := range marks {
		for k := range marks[i].Heard {
			if g := marks[i].Heard[k].GainDB; g != nil && !(*g <= setup.TopGainDB) {
				setup.TopGainDB = *g
			}
		}
	}
	of := func(name string) []cure.Channel {
		if name == "" || err != nil {
			return nil
		}
		var s *scan.Survey
		if _, s, err = f.spot(house, marks, name); err != nil {
			return nil
		}
		return cure.ChannelsOf(s)
	}
	if list := of(f.bare); list != nil {
		setup.Bare = cure.BareOf(setup.Channels, list)
	}
	if list := of(f.head); list != nil {
		setup.Head = cure.HeadOf(list, setup.Channels)
	}
	afterwards = of(f.after)
	if err == nil && !f.changed.IsZero() {
		since := slices.DeleteFunc(slices.Clone(marks), func(m site.Mark) bool { return m.Time.Before(f.changed) })
		var s *scan.Survey
		if _, s, err = f.spot(house, since, spot); err == nil {
			afterwards = cure.ChannelsOf(s)
		}
	}
	return afterwards, err
}

// placeOptions are how the house tells its places.
func (f *cureFlags) placeOptions(house *site.House) site.Options {
	o := site.DefaultOptions()
	told := (&unitsFlag{}).telling(house)
	o.Units, o.North = told.units, told.north
	return o
}

// betterPlace is a marked place that gives a channel more than the one in question.
type betterPlace struct {
	place  string
	margin measure.Estimate
}

// betterElsewhere finds, for each channel that is not firm at a place, the one among
// the others that gives it most: where that decodes and is certainly better, by more
// than most changes of the lead bring.
func betterElsewhere(list []cure.Channel, spots []site.Spot, here string) map[int]betterPlace {
	const worthDB, sigmas = 3.0, 1.96
	out := map[int]betterPlace{}
	for i := range list {
		c := &list[i]
		if c.Margin == nil || c.Margin.Value >= verdict.FirmMarginDB {
			continue
		}
		for k := range spots {
			s := &spots[k]
			there := s.Channels[c.Channel.Number].Margin
			if s.String() == here || there == nil || there.Value < 0 {
				continue
			}
			if there.Value-c.Margin.Value < max(worthDB, sigmas*math.Hypot(there.Sigma, c.Margin.Sigma)) {
				continue
			}
			if known, ok := out[c.Channel.Number]; !ok || there.Value > known.margin.Value {
				out[c.Channel.Number] = betterPlace{s.String(), *there}
			}
		}
	}
	return out
}

// spot finds a place among marks by the beginning of its name, or the best one, and
// returns the latest that was measured there of each channel, told as a visit.
func (f *cureFlags) spot(house *site.House, marks []site.Mark, name string) (string, *scan.Survey, error) {
	o := f.placeOptions(house)
	spots := site.Spots(marks, o)
	if len(spots) == 0 {
		return "", nil, withHint(fmt.Errorf("nothing is marked in %s", f.site.name), "rooftone mark chimney --site %s", f.site.name)
	}
	best := &spots[0]
	switch {
	case name != "":
		var list []*site.Spot
		for i := range spots {
			list = append(list, &spots[i])
		}
		found, err := chooseSpot(list, name, o)
		if err != nil {
			return "", nil, err
		}
		best = found
	case len(house.Wanted) > 0:
		if rows := decide.Rank(spots, nil, house.Wanted, o).Rows; len(rows) > 0 && rows[0].Spot != nil {
			best = rows[0].Spot
		}
	}
	var out *scan.Survey
	for _, m := range site.MarksOf(best, marks, o) {
		s := m.Survey()
		if out == nil {
			out = s
			continue
		}
		out.ThresholdDB = s.ThresholdDB
		for _, c := range s.Channels { // the later one counts
			k := slices.IndexFunc(out.Channels, func(old scan.Channel) bool { return old.Channel == c.Channel })
			if k < 0 {
				out.Channels = append(out.Channels, c)
			} else {
				out.Channels[k] = c
			}
		}
	}
	return best.String(), out, nil
}

// readHunt takes from a hunt's JSON what overload is foreseen by; nil where none is
// named.
func readHunt(name string) (*cure.Overload, error) {
	if name == "" {
		return nil, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("reading the hunt: %w", err)
	}
	defer f.Close()
	const most = 16 << 20
	text, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return nil, fmt.Errorf("reading the hunt: %w", err)
	}
	var r huntReport
	if err := json.Unmarshal(text, &r); err != nil || r.Schema != huntSchema {
		return nil, withHint(fmt.Errorf("%s is not what rooftone hunt --json prints", name), "rooftone hunt --json > hunt.json")
	}
	if r.GainTest == nil {
		return nil, withHint(fmt.Errorf("the hunt in %s has no gain-step test, which tells the intercepts", name), "hunt with a radio that has several gains")
	}
	out := &cure.Overload{
		SecondDBFS: interceptOf(r.GainTest.SecondDBFS, r.GainTest.SecondSigma),
		ThirdDBFS:  interceptOf(r.GainTest.ThirdDBFS, r.GainTest.ThirdSigma),
	}
	for _, e := range r.Emitters {
		if e.LowHz != nil && e.HighHz != nil && e.LevelDBFS != nil {
			out.Emitters = append(out.Emitters, cure.Emitter{LowHz: *e.LowHz, HighHz: *e.HighHz, LevelDBFS: *e.LevelDBFS})
		}
	}
	return out, nil
}

func interceptOf(value, sigma *float64) *measure.Estimate {
	if value == nil || sigma == nil {
		return nil
	}
	return &measure.Estimate{Value: *value, Sigma: *sigma}
}
