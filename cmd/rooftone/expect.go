package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/band"
	"rooftone/scan/expect"
	"rooftone/scan/measure"
	"rooftone/scan/path"
	"rooftone/scan/site"
	"rooftone/scan/terrain"
)

func expectCommand() command {
	return command{
		name:  "expect",
		short: "what should arrive at a place, from a list of stations and the terrain",
		about: `Says before anybody climbs which stations of a list should come in at a place,
from which side and with how much to spare. It needs no radio.

With --terrain, a folder of height tiles (SRTM, N44W073.hgt and so on, 1 or 3 arc
seconds), the ground between is looked at; without, the earth is taken for smooth
and the intervals are as wide as that asks for. Which tiles are wanted is said;
nothing is downloaded.

The losses are those of the Irregular Terrain Model with the settings that the
United States' regulator uses for television (FCC OET Bulletin 69). Antenna, line
and receiver are its planning factors within a range, unless they are given.`,
		examples: `rooftone expect --at 44.26,-72.58 --stations list.csv
rooftone expect --at 44.26,-72.58 --stations list.csv --terrain tiles
rooftone expect --at 44.26,-72.58 --stations list.csv --terrain tiles --height 4
                                            a lower antenna
rooftone expect --at 44.26,-72.58 --site farm.jsonl --terrain tiles
                                            the stations that a house knows`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var e expectFlags
			e.declare(fs)
			return func(_ context.Context, c *console, operands []string) error {
				return e.run(c, operands)
			}
		},
	}
}

type expectFlags struct {
	terrain   terrainFlags
	stations  stationFlags
	gain      *float64
	loss      *float64
	noise     *float64
	threshold *float64
	plan      string
	json      bool
	looks     looks
}

// terrainFlags say how high the antennas stand over which ground.
type terrainFlags struct {
	folder   string
	sea      bool
	height   *float64
	typed    site.Units // of the height; "" where it did not say
	aboveSea bool
}

const usualAntennaM = 10 // FCC OET Bulletin 69, Table 4

func (f *terrainFlags) declare(fs *pflag.FlagSet) {
	height := float64(usualAntennaM)
	f.height = &height
	fs.Var(&metres{&f.height, &f.typed}, "height", "the antenna's `HEIGHT` above the ground, such as 20ft or 6.1m, for what is expected; metres unless it says")
	fs.Var(&fileName{&f.folder}, "terrain", "a `FOLDER` of height tiles such as N44W073.hgt (SRTM, 1 or 3 arc seconds)")
	fs.BoolVar(&f.sea, "sea", false, "what no tile of the folder covers is open sea")
	fs.BoolVar(&f.aboveSea, "above-sea", false, "the list counts the stations' heights from the sea, not from the ground below them; wants --terrain")
}

// open opens the folder of tiles; nil where none was named.
func (f *terrainFlags) open() (*terrain.Folder, error) {
	if h := *f.height; h < path.MinHeightM || h > path.MaxHeightM {
		return nil, usagef("--height: %g m is outside %g to %d metres above the ground", h, path.MinHeightM, path.MaxHeightM).hint("--height 20ft")
	}
	if f.folder == "" {
		switch {
		case f.sea:
			return nil, usagef("--sea goes with --terrain").hint("--terrain tiles --sea")
		case f.aboveSea:
			return nil, usagef("--above-sea wants to know the ground").hint("--terrain tiles --above-sea")
		}
		return nil, nil
	}
	folder, err := terrain.Open(os.DirFS(f.folder))
	if errors.Is(err, terrain.ErrNoTiles) {
		return nil, withHint(fmt.Errorf("%s: %w", f.folder, err), "tiles are named after their south-west corners, such as N44W073.hgt; rooftone expect without --terrain lists those that are wanted")
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.folder, cause(err))
	}
	folder.Sea = f.sea
	return folder, nil
}

func (e *expectFlags) declare(fs *pflag.FlagSet) {
	e.stations.declare(fs)
	e.stations.declareSite(fs)
	e.terrain.declare(fs)
	fs.Var(&number{to: &e.gain, min: -40, max: 60, unit: "dB"}, "antenna-gain", "the antenna's gain over a dipole in `DB`, if known")
	fs.Var(&number{to: &e.loss, min: 0, max: 60, unit: "dB"}, "line-loss", "what the line from the antenna loses in `DB`, if known")
	fs.Var(&number{to: &e.noise, min: 0, max: 40, unit: "dB"}, "noise-figure", "the receiver's noise figure in `DB`, if known")
	threshold := measure.DefaultThresholdDB
	e.threshold = &threshold
	fs.Var(&number{to: &e.threshold, min: 0.1, max: 60, unit: "dB"}, "threshold", "C/N in `DB` at which the receiver decodes")
	fs.StringVar(&e.plan, "plan", band.Plans()[0].Name, "channel `PLAN`: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.BoolVar(&e.json, "json", false, "print JSON")
	e.looks.declare(fs)
}

func (e *expectFlags) run(c *console, operands []string) error {
	if len(operands) > 0 {
		return usagef("expect takes no arguments").hint("rooftone expect --at 44.26,-72.58 --stations list.csv")
	}
	if e.stations.at == "" {
		return usagef("expect wants to know where the house is").hint("--at 44.26,-72.58: latitude and longitude in degrees, north and east positive")
	}
	if e.stations.file == "" && e.stations.site.name == "" {
		return usagef("expect wants a list of stations").hint("--stations list.csv, with the columns rf_channel, latitude, longitude, label, erp_kw, height_m; or --site, a house that knows them")
	}
	plan, err := band.ParsePlan(e.plan)
	if err != nil {
		return usagef("--plan: %w", err)
	}
	folder, err := e.terrain.open()
	if err != nil {
		return err
	}
	if err := e.stations.read(); err != nil {
		return err
	}
	if err := e.stations.readHouse(c); err != nil {
		return err
	}
	at, err := site.ParsePosition(e.stations.at)
	if err != nil {
		return err
	}
	house := expect.House{
		At: at, HeightM: *e.terrain.height, ThresholdDB: *e.threshold,
		GainDBd: e.gain, LineLossDB: e.loss, NoiseFigureDB: e.noise,
		HeightsAboveSea: e.terrain.aboveSea, Plan: plan, Terrain: folder,
	}
	x, err := expect.At(house, e.stations.list)
	if err != nil {
		return err
	}
	if e.json {
		return writeJSON(c.stdout, newExpectReport(x, house, &e.stations))
	}
	screen := c.screenFor(e.looks)
	units := cmp.Or(e.stations.units, e.terrain.typed)
	if err := plot.Expected(c.stdout, x, house, plot.TextOptions{Width: screen.width, UTF8: screen.utf8, Units: units}); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	return nil
}
