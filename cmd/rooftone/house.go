package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/site"
)

func houseCommand() command {
	return command{
		name:  "house",
		short: "what a house is called, and how heights and headings are told there",
		about: `Keeps in the house's file how it is called, whether heights and distances are
told in feet or metres, and from which north headings are counted: true north, or
a compass's. Without flags it shows that. All commands with --site then speak so.

Nobody has to begin with this: the first height that is typed with its unit, as
in --height 20ft, decides the units, and a turn with --declination that headings
are by compass. JSON and the file itself are always metric, and headings are kept
as they were told: when the north is changed, the marks made before are not.`,
		examples: `rooftone house --site house.jsonl               what it says by now
rooftone house --site house.jsonl --units feet
rooftone house --site house.jsonl --north compass --declination -14
rooftone house --site house.jsonl --name "Orchard Farm"`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var h houseFlags
			h.site.declare(fs)
			fs.StringVar(&h.name, "name", "", "what the house is called, a `NAME`")
			fs.Var(&choice{to: &h.units, words: []string{string(site.Feet), string(site.Metres)}}, "units", "tell heights and distances in `UNITS`, feet or metres")
			fs.Var(&choice{to: &h.north, words: []string{string(site.TrueNorth), string(site.CompassNorth)}}, "north", "from `WHICH` north headings are counted there: true, or compass")
			fs.Var(&number{to: &h.declination, min: -180, max: 180, unit: "degrees"}, "declination", "by how many `DEGREES` a compass points east of true north there (west is negative); look it up, for it drifts from year to year")
			return func(_ context.Context, c *console, operands []string) error {
				if len(operands) > 0 {
					return usagef("house takes no arguments, but was given %s", quote(operands[0])).hint("rooftone house --site %s", operands[0])
				}
				return h.run(c)
			}
		},
	}
}

type houseFlags struct {
	site        siteFlag
	name        string
	units       string
	north       string
	declination *float64
}

func (f *houseFlags) run(c *console) error {
	if err := f.site.check("house"); err != nil {
		return err
	}
	var news []site.Record
	if f.name != "" {
		news = append(news, site.Header{Name: f.name, Program: version()})
	}
	if f.units != "" || f.north != "" || f.declination != nil {
		news = append(news, site.Setting{Time: time.Now(), Units: site.Units(f.units), North: site.North(f.north), DeclinationDeg: f.declination})
	}
	if len(news) > 0 {
		if err := f.site.startNamed(c, f.name); err != nil {
			return err
		}
	}
	before, err := f.site.read(c)
	if err != nil {
		return err
	}
	if err := site.Append(f.site.name, news...); err != nil {
		return err
	}
	house := before
	if len(news) > 0 {
		if house, err = site.Read(f.site.name); err != nil {
			return err
		}
	}
	if before.North != "" && before.North != house.North && headed(before) {
		c.note("the headings that were marked before stay as they were told: %s", strings.TrimPrefix(before.North.Sentence(), "headings are "))
	}
	_, err = fmt.Fprint(c.stdout, houseText(house))
	if err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	return nil
}

// headed reports whether any mark has a heading.
func headed(h *site.House) bool {
	for i := range h.Marks {
		if h.Marks[i].BearingDeg != nil {
			return true
		}
	}
	return len(h.Turns) > 0
}

// houseText is what a house's file says of the house itself.
func houseText(h *site.House) string {
	var b strings.Builder
	fmt.Fprintf(&b, "house        %s\n", oneLine(h.Name))
	units := string(h.Units)
	if units == "" {
		units = "not chosen: metres, and distances both ways; --units feet or --units metres"
	}
	fmt.Fprintf(&b, "lengths in   %s\n", units)
	north := map[site.North]string{
		site.TrueNorth: "true north", site.CompassNorth: "magnetic north, by compass",
		"": "not said; --north true or --north compass",
	}[h.North]
	fmt.Fprintf(&b, "headings by  %s\n", north)
	if d := h.DeclinationDeg; d != nil {
		fmt.Fprintf(&b, "declination  %+g°: a compass points %s of true north\n", *d, eastOrWest(*d))
	}
	fmt.Fprintf(&b, "marks        %d\n", len(h.Marks))
	return b.String()
}
