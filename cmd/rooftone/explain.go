package main

import (
	"context"
	"io"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan"
)

// explainDwell is longer than a sweep's: who asks about one channel wants to
// know, and eight fields of training tell twice as much as two.
const explainDwell = 200 * time.Millisecond

func explainCommand() command {
	return command{
		name:     "explain",
		operands: "CHANNEL",
		short:    "one channel in full: every figure, what limits it, what to try",
		about: `Looks closely at one channel and says all there is to say: every figure with
its uncertainty, the echoes and how far away what makes them is, what keeps the
channel from being firm, by evidence, and what to try, the cheapest first.

Some channels beside it are visited too, to learn the noise and the clock from.`,
		examples: `rooftone explain 22                      with the USB radio
rooftone explain 22 --sheet 22.pdf       and a page to print
rooftone explain 28 --from sim:harbour   a channel of the simulated town
rooftone explain 22 --from roof.sigmf-meta
                                         from a recording`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			v := visitFlags{one: true}
			v.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				return v.run(ctx, c, operands, nil)
			}
		},
	}
}

// drawSheet draws the page of a survey's only channel.
func drawSheet(w io.Writer, format string, s *scan.Survey, o plot.Options) error {
	return plot.Explain(w, format, s.Channels[0], s, o)
}
