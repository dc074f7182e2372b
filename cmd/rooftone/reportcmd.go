package main

import (
	"context"

	"github.com/spf13/pflag"
)

func reportCommand() command {
	return command{
		name:     "report",
		operands: "[LOG]",
		short:    "what a watch's log says, or a house visit's page for the customer",
		about: `With a LOG that rooftone watch keeps: how much of the time each channel had the
margin that it has now, its fades with their depth and length, its day, its
drift, its sudden steps, and which channels faded together. A log can be read
while it grows.

With --site and --out: one page about a house, for the customer or a helper far
away. With a LOG too, the page tells what that says.`,
		examples: `rooftone report roof.watch               the log in words
rooftone report roof.watch --json        and for programs
rooftone report --site house.jsonl --out visit.html
                                         the page of a visit
rooftone report roof.watch --site house.jsonl --out visit.html
                                         and whether it held`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var (
				log  logReport
				page sitePage
			)
			log.declare(fs)
			page.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				switch {
				case len(operands) > 1:
					return usagef("%d arguments where one log belongs", len(operands)).hint("rooftone report %s", operands[0])
				case page.wanted():
					if err := log.refuse(fs); err != nil {
						return err
					}
					return page.run(ctx, c, operands)
				case len(operands) == 0:
					return usagef("report wants a log, or a house").hint("rooftone report LOG; rooftone report --site house.jsonl --out visit.html")
				}
				return log.run(c, operands[0])
			}
		},
	}
}
