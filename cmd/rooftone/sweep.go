package main

import (
	"context"

	"github.com/spf13/pflag"
)

func sweepCommand() command {
	return command{
		name:     "sweep",
		operands: "[CHANNELS]",
		short:    "visit channels: what is on the air, how strong, how clean",
		about: `Visits the channels, the whole plan unless some are named, and shows for each
whether a station is there, how strong and how clean it is, and how far it
stands above the point where a receiver decodes. CHANNELS is a list such as
2-36 or 7-13,22,31.

A recording need not hold whole channels: what it holds of them is measured,
with intervals as wide as that asks for, and what to record next is said.

Without --from it uses the USB radio. Ctrl-C ends the visit early: what was
measured by then is shown.`,
		examples: `rooftone sweep                          every channel, the USB radio
rooftone sweep 7-13,22 --dwell 0.2s     a few, with more patience
rooftone sweep --map roof.png           and a picture to keep
rooftone sweep --from roof.sigmf-meta   measure a recording again
rooftone sweep --from tcp://shed:1234   a radio at another machine
rooftone sweep --from x.bin --format cu8 --rate 2.4M --center 605M
                                        raw samples of another program
rooftone sweep --from x_605M_2M4.cu8    the same, told by the file's name
rooftone sweep --from a_603M_2M4.cu8,b_605M_2M4.cu8,c_607M_2M4.cu8
                                        three pieces of one channel
rooftone sweep --stations list.csv --at 44.26,-72.58
                                        with names, bearings and distances
rooftone sweep --stations list.csv --at 44.26,-72.58 --terrain tiles
                                        beside what was to be expected
rooftone sweep --json | jq '.channels[] | select(.grade == "firm")'`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			v := visitFlags{beside: &besideFlags{}}
			v.declare(fs)
			v.beside.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				return v.run(ctx, c, operands, nil)
			}
		},
	}
}
