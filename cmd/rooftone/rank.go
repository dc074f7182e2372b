package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/decide"
	"rooftone/scan/site"
)

func rankCommand() command {
	return command{
		name:  "rank",
		short: "which place and heading serves all the wanted channels best",
		about: `Puts the places and headings of a house in order, of marks and of turns alike.
Each wanted channel counts with the probability that it decodes, and still does
at another time. Places are equal where no channel differs with certainty and
another measurement would not change the choice. What was not measured makes a
place neither better nor worse; where it could make it the best, it is said what
to measure next.

It sets the best against the next, channel by channel, and tells what the best
gives up, which one heading serves all channels best, which channels no place
gives, and whether a second antenna is worth it and how to join it.`,
		examples: `rooftone rank --site house.jsonl
rooftone rank --site house.jsonl --need 6        6 dB of margin will do
rooftone rank --site house.jsonl --grid house.png --rose house-rose.svg
rooftone rank --site house.jsonl --since 2026-03-05
                                                 what changed since that day
rooftone rank --site house.jsonl --json | jq '.places[0].place'`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var r ranker
			r.declare(fs)
			return func(_ context.Context, c *console, operands []string) error {
				if len(operands) > 0 {
					return usagef("rank takes no arguments, but was given %s", quote(operands[0])).hint("rooftone rank --site %s", operands[0])
				}
				return r.run(c)
			}
		},
	}
}

// ranker compares a house's places.
type ranker struct {
	site  siteFlag
	need  *float64
	since time.Time

	json, csv bool
	looks     looks
	stations  stationFlags
	units     unitsFlag

	gridFile, roseFile string
}

func (r *ranker) declare(fs *pflag.FlagSet) {
	r.site.declare(fs)
	r.declareChoice(fs)
	fs.Var(&fileName{&r.gridFile}, "grid", "draw the places by channels to `FILE`: .png, .svg or .pdf")
	fs.Var(&fileName{&r.roseFile}, "rose", "draw margin against bearing at the place with the most headings to `FILE`: .png, .svg or .pdf")
	fs.BoolVar(&r.json, "json", false, "print JSON, all that is known of the places")
	fs.BoolVar(&r.csv, "csv", false, "print CSV, one line a place and wanted channel")
	r.looks.declare(fs)
	r.stations.declare(fs)
}

// declareChoice declares what places are compared by.
func (r *ranker) declareChoice(fs *pflag.FlagSet) {
	r.units.declare(fs)
	need := site.DefaultOptions().EnoughDB
	r.need = &need
	fs.Var(&number{to: &r.need, min: -20, max: 60, unit: "dB"}, "need", "the margin in `DB` that is enough")
	fs.Var(&day{&r.since}, "since", "rank what was marked since a `DATE`, such as 2026-03-05, and say what changed from before")
}

// placePicture is a picture of a house that was asked for.
type placePicture struct {
	flag, name string
	draw       func(io.Writer, string, *plot.Places, plot.Options) error
	format     string
	file       *outFile
}

func (r *ranker) run(c *console) error {
	if err := r.site.check("rank"); err != nil {
		return err
	}
	if r.json && r.csv {
		return usagef("--json and --csv exclude each other").hint("leave one of them out")
	}
	pictures := []*placePicture{
		{flag: "grid", name: r.gridFile, draw: plot.Grid},
		{flag: "rose", name: r.roseFile, draw: plot.Rose},
	}
	pictures = slices.DeleteFunc(pictures, func(p *placePicture) bool { return p.name == "" })
	if len(pictures) == 2 && sameFile(r.gridFile, r.roseFile) {
		return usagef("--grid and --rose name the same file").hint("give each picture a name of its own")
	}
	for _, p := range pictures {
		var err error
		if p.format, err = plot.Format(p.name); err != nil {
			return usagef("--%s: %w", p.flag, err).hint("--%s picture.png, .svg or .pdf", p.flag)
		}
	}
	if err := r.stations.read(); err != nil {
		return err
	}
	house, err := r.site.read(c)
	if err != nil {
		return err
	}
	places, err := r.places(house)
	if err != nil {
		return err
	}
	for _, p := range pictures {
		if p.file, err = createOut(p.name); err != nil {
			return err
		}
		defer p.file.discard()
	}
	if err := r.show(c, house, places); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	for _, p := range pictures {
		err := p.file.finish(func(w io.Writer) error { return p.draw(w, p.format, places, plot.Options{}) })
		if err != nil {
			return err
		}
		p.file.say(c, "the picture")
	}
	return nil
}

// places ranks what is in the house's file.
func (r *ranker) places(h *site.House) (*plot.Places, error) {
	if len(h.Wanted) == 0 {
		return nil, withHint(fmt.Errorf("no channels are wanted in %s", r.site.name), "rooftone want 7,22 --site %s", r.site.name)
	}
	if len(h.Marks) == 0 {
		return nil, withHint(fmt.Errorf("nothing is marked in %s", r.site.name), "rooftone mark chimney --site %s", r.site.name)
	}
	o := site.DefaultOptions()
	o.EnoughDB, o.Since = *r.need, r.since
	told := r.tell(h)
	o.Units, o.North = told.units, told.north
	spots := site.Spots(h.Marks, o)
	ranking := decide.Rank(spots, h.Turns, h.Wanted, o)
	if len(ranking.Rows) == 0 {
		return nil, withHint(fmt.Errorf("nothing was marked in %s since %s", r.site.name, r.since.Format(time.DateOnly)), "leave --since out, or mark the places again")
	}
	p := &plot.Places{
		House: h.Name, Wanted: h.Wanted, Since: r.since, North: told.north, Unclear: site.Unclears(spots, h.Marks, o),
		Ranking: *ranking, Labels: map[int]string{}, Towards: map[int][]float64{},
	}
	if !r.since.IsZero() {
		p.Changes, p.Visited = site.Changes(h.Marks, r.since, o)
	}
	for _, t := range h.Turns {
		if !t.Time.Before(r.since) {
			p.Turns = append(p.Turns, t)
		}
	}
	slices.SortStableFunc(p.Turns, func(a, b site.TurnRecord) int { return a.Time.Compare(b.Time) })
	p.Beams = beams(p)
	for _, w := range h.Wanted {
		p.Labels[w.RFChannel] = h.Label(w.RFChannel)
		if known := r.stations.report(w.RFChannel); p.Labels[w.RFChannel] == "" && len(known) == 1 {
			p.Labels[w.RFChannel] = known[0].Label
		}
		p.Towards[w.RFChannel] = r.stations.bearingsBy(w.RFChannel, told.north)
	}
	return p, nil
}

// beams fits the peak of each channel over the headings of the place that was
// turned the most, where there are enough of them.
func beams(p *plot.Places) map[int]plot.Beam {
	out := map[int]plot.Beam{}
	_, rows := p.Turned()
	for _, w := range p.Wanted {
		var points []site.Aimed
		for _, row := range rows {
			if m := row.Spot.Channels[w.RFChannel].Margin; m != nil {
				points = append(points, site.Aimed{BearingDeg: *row.Spot.BearingDeg, LevelDB: m.Value, SigmaDB: m.Sigma})
			}
		}
		peak, err := site.FitPeak(points)
		if err != nil { // too few headings to tell: a turn has more
			peak, err = site.FitPeak(p.Curve(w.RFChannel))
		}
		if err == nil {
			out[w.RFChannel] = plot.Beam{Heading: peak.Heading, Width: peak.Width}
		}
	}
	return out
}

func (r *ranker) show(c *console, h *site.House, p *plot.Places) error {
	switch {
	case r.json:
		return writeJSON(c.stdout, r.report(h, p))
	case r.csv:
		return writeTable(c.stdout, rankRows(p))
	}
	screen := c.screenFor(r.looks)
	err := plot.PlaceRows(c.stdout, p, plot.TextOptions{Width: screen.width, UTF8: screen.utf8, Color: screen.colour})
	if err != nil {
		return err
	}
	var channels []int
	for _, w := range p.Wanted {
		channels = append(channels, w.RFChannel)
	}
	return r.stations.write(c, channels, r.looks)
}
