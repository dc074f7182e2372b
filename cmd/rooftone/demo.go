package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/tuner/sim"
)

// demoPicture is the picture that demo draws, in the current directory or,
// where that cannot be written, in the one for temporary files.
const demoPicture = "rooftone-map.png"

func demoCommand() command {
	return command{
		name:  "demo",
		short: "the main job on a simulated town: no hardware, no arguments",
		about: `Sweeps a simulated town as sweep does a real one, shows what it found and draws
the presence map as ` + demoPicture + ` in the current directory.`,
		examples: "rooftone demo",
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var l looks
			l.declare(fs)
			return func(ctx context.Context, c *console, args []string) error {
				if len(args) > 0 {
					return usagef("demo takes no arguments, but was given %s", quote(args[0])).
						hint("rooftone sweep %s --from sim:%s", args[0], sim.Demo)
				}
				return demo(ctx, c, l)
			}
		},
	}
}

func demo(ctx context.Context, c *console, l looks) error {
	plan, err := band.ParsePlan("")
	if err != nil {
		return err
	}
	file, err := createDemoPicture()
	if err != nil {
		return err
	}
	defer file.discard()
	src, err := sourceWord{kind: fromSim, rest: sim.Demo}.open(ctx, c, rawFlags{})
	if err != nil {
		return err
	}
	defer src.close()
	survey, err := src.sweep(ctx, c, scan.Options{Channels: plan.Channels, Plan: plan.Channels})
	if err != nil {
		return err
	}
	if err := showRows(c, survey, l, false, false); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	err = file.finish(func(w io.Writer) error {
		return plot.Skyline(w, "png", survey, plot.Options{ThresholdDB: survey.ThresholdDB})
	})
	if err != nil {
		return err
	}
	if file.old {
		file.say(c, "the picture")
	}
	if survey.Interrupted {
		return c.interrupted()
	}
	_, err = fmt.Fprintf(c.stdout, `
This is a simulated town: a row is a channel, its bar the room it has to spare.
The same as a picture to keep is in %s
Next: rooftone explain 28 --from sim:%s tells why that one fails
`, file.name, sim.Demo)
	return err
}

// createDemoPicture opens the picture's file where it can be written.
func createDemoPicture() (*outFile, error) {
	file, err := createOut(demoPicture)
	if err == nil {
		return file, nil
	}
	elsewhere, tempErr := createOut(filepath.Join(os.TempDir(), demoPicture))
	if tempErr != nil {
		return nil, err // the current directory is where it was wanted
	}
	return elsewhere, nil
}
