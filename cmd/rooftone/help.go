package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/pflag"
)

func helpCommand() command {
	return command{
		name:     "help",
		operands: "[COMMAND]",
		short:    "what rooftone can do, or how one command is used",
		about:    "Shows the commands, or everything about one of them.",
		examples: "rooftone help sweep    every flag of sweep, with examples",
		flags: func(*pflag.FlagSet) func(context.Context, *console, []string) error {
			return func(_ context.Context, c *console, args []string) error {
				switch len(args) {
				case 0:
					return writeOverview(c.stdout)
				case 1:
					cmd, ok := findCommand(args[0])
					if !ok {
						return unknownCommand(args[0])
					}
					return writeHelp(c.stdout, cmd)
				}
				return usagef("help takes one command, not %d", len(args)).hint("rooftone help %s", args[0])
			}
		},
	}
}

// writeOverview tells what the program is for and lists the commands.
func writeOverview(w io.Writer) error {
	var b strings.Builder
	b.WriteString(`Rooftone measures over-the-air television with a cheap USB software radio:
which channels are on the air at this antenna, how strong, how clean, and with
how much room to spare.

Commands:
`)
	for _, cmd := range commands() {
		fmt.Fprintf(&b, "  %-24s %s\n", strings.TrimSpace(cmd.name+" "+cmd.operands), cmd.short)
	}
	b.WriteString(`
Start with:
  rooftone demo            a simulated town, no hardware needed
  rooftone sweep           every channel, with the USB radio that is plugged in

rooftone help COMMAND shows a command's flags and examples.
`)
	_, err := io.WriteString(w, b.String())
	return err
}

// writeHelp tells everything about one command.
func writeHelp(w io.Writer, cmd command) error {
	fs := newFlagSet(cmd)
	cmd.flags(fs)
	var b strings.Builder
	fmt.Fprintf(&b, "rooftone %s", cmd.name)
	if fs.HasFlags() {
		b.WriteString(" [FLAGS]")
	}
	if cmd.operands != "" {
		b.WriteString(" " + cmd.operands)
	}
	fmt.Fprintf(&b, "\n\n%s\n", strings.TrimSpace(cmd.about))
	if fs.HasFlags() {
		fmt.Fprintf(&b, "\nFlags:\n%s", fs.FlagUsagesWrapped(helpWidth))
	}
	if cmd.examples != "" {
		b.WriteString("\nExamples:\n")
		for line := range strings.Lines(strings.TrimSpace(cmd.examples) + "\n") {
			b.WriteString("  " + line)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// helpWidth is the columns that help is written for.
const helpWidth = 80
