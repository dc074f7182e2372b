// Rooftone measures over-the-air television with a cheap software radio.
//
// This package is a thin layer: flags, text and exit codes. What is measured
// lives in rooftone/scan, the pictures in rooftone/plot.
package main

// The gallery is drawn by the program itself, from a town whose time and noise
// are always the same.
//go:generate go run . sweep --from sim:harbour --map ../../testdata/gallery/skyline.png --spectrum ../../testdata/gallery/spectrum.png --echoes ../../testdata/gallery/echoes.png
//go:generate go run . explain 28 --from sim:harbour --sheet ../../testdata/gallery/explain.png
//go:generate go run . hunt 9-10,15,21-24,31 --from sim:millrace --spectrum ../../testdata/gallery/suspects.png
//go:generate go run . receive 18 --from sim:lighthouse --for 4s --sheet ../../testdata/gallery/received.png
//go:generate go run . rank --site ../../testdata/gallery/farm.jsonl --grid ../../testdata/gallery/grid.png
//go:generate go run . rank --site ../../testdata/gallery/turned.jsonl --stations ../../testdata/gallery/stations.csv --at 44.26,-72.58 --rose ../../testdata/gallery/rose.png

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/pflag"
)

func main() {
	if os.Getenv("GOGC") == "" {
		// The measuring allocates in few large pieces; collecting them sooner
		// costs little and keeps the program small on the small machines that
		// end up beside an antenna.
		debug.SetGCPercent(30)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first Ctrl-C asks for an orderly end; from then on a second one
	// ends the program as it would any other.
	context.AfterFunc(ctx, stop)
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, os.Getenv))
}

// Exit codes, promised in the README.
const (
	exitOK          = 0
	exitFailure     = 1   // something went wrong while doing what was asked
	exitUsage       = 2   // what was asked makes no sense; nothing was done
	exitInterrupted = 130 // Ctrl-C: what was measured by then is printed and kept; 128 + SIGINT, as shells have it
)

// command is one word that rooftone knows.
type command struct {
	name     string
	operands string // as in "FILE [CHANNELS]"
	short    string // one line for the list of commands
	about    string // for its own help
	examples string // lines for its own help, each a command and what it does

	// flags declares the command's flags and returns what to do once they
	// have been parsed, given the operands.
	flags func(*pflag.FlagSet) func(context.Context, *console, []string) error
}

// commands lists every command in the order that help shows them.
func commands() []command {
	return []command{
		demoCommand(),
		sweepCommand(),
		explainCommand(),
		huntCommand(),
		cureCommand(),
		recordCommand(),
		receiveCommand(),
		aimCommand(),
		wantCommand(),
		houseCommand(),
		markCommand(),
		stationsCommand(),
		expectCommand(),
		turnCommand(),
		rankCommand(),
		watchCommand(),
		reportCommand(),
		radioCommand(),
		bundleCommand(),
		devicesCommand(),
		versionCommand(),
		helpCommand(),
	}
}

// run is the whole program but for the process around it; env is os.Getenv or
// stands in for it. It returns the exit code.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer, env func(string) string) int {
	c := &console{stdin: stdin, stdout: stdout, stderr: stderr, env: env}
	err := dispatch(ctx, c, args)
	switch usage := (*usageError)(nil); {
	case err == nil:
		return exitOK
	case errors.Is(err, errInterrupted):
		return exitInterrupted
	case errors.As(err, &usage):
		c.complain(err)
		return exitUsage
	default:
		c.complain(err)
		return exitFailure
	}
}

// dispatch finds the command, parses its flags and does it.
func dispatch(ctx context.Context, c *console, args []string) error {
	if len(args) == 0 {
		writeOverview(c.stderr)
		return usagef("no command given").hint("rooftone demo needs no hardware and no arguments")
	}
	switch args[0] {
	case "-h", "--help":
		args = append([]string{"help"}, args[1:]...)
	case "--version":
		args = append([]string{"version"}, args[1:]...)
	}
	name, rest := args[0], args[1:]
	cmd, ok := findCommand(name)
	if !ok {
		if strings.HasPrefix(name, "-") {
			return usagef("the command comes first, before flags such as %s", name).hint("rooftone help lists the commands")
		}
		return unknownCommand(name)
	}
	fs := newFlagSet(cmd)
	do := cmd.flags(fs)
	if err := fs.Parse(rest); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return writeHelp(c.stdout, cmd)
		}
		return flagError(cmd, fs, err)
	}
	operands, err := c.asRF(cmd, fs, fs.Args())
	if err != nil {
		return err
	}
	return do(ctx, c, operands)
}

// newFlagSet returns a flag set that leaves all speaking to this package.
func newFlagSet(cmd command) *pflag.FlagSet {
	fs := pflag.NewFlagSet(cmd.name, pflag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.Usage = func() {}
	fs.SortFlags = false
	return fs
}

func findCommand(name string) (command, bool) {
	for _, cmd := range commands() {
		if cmd.name == name {
			return cmd, true
		}
	}
	return command{}, false
}

func unknownCommand(name string) error {
	err := usagef("no command named %s", quote(name))
	var names []string
	for _, cmd := range commands() {
		names = append(names, cmd.name)
	}
	if near := closest(name, names); near != "" {
		return err.hint("did you mean rooftone %s?", near)
	}
	return err.hint("rooftone help lists the commands")
}

// flagError says what pflag refused, in our words.
func flagError(cmd command, fs *pflag.FlagSet, err error) error {
	var (
		unknown *pflag.NotExistError
		missing *pflag.ValueRequiredError
		invalid *pflag.InvalidValueError
	)
	switch {
	case errors.As(err, &unknown):
		return unknownFlag(cmd, fs, unknown.GetSpecifiedName())
	case errors.As(err, &missing):
		return usagef("--%s needs a value", missing.GetFlag().Name).
			hint("%s", flagHint(cmd, missing.GetFlag()))
	case errors.As(err, &invalid):
		cause := invalid.Unwrap()
		if invalid.GetFlag().Value.Type() == "bool" {
			cause = fmt.Errorf("%s is neither true nor false", quote(invalid.GetValue()))
		}
		return usagef("--%s: %w", invalid.GetFlag().Name, cause).hint("%s", flagHint(cmd, invalid.GetFlag()))
	}
	return usagef("%w", err).hint("rooftone %s --help shows its flags", cmd.name)
}

func unknownFlag(cmd command, fs *pflag.FlagSet, name string) error {
	dashes := "--"
	if len(name) == 1 {
		dashes = "-"
	}
	err := usagef("%s has no flag %s", cmd.name, quote(dashes+name))
	var own []string
	fs.VisitAll(func(f *pflag.Flag) { own = append(own, f.Name) })
	if near := closest(name, append(own, "help")); near != "" {
		return err.hint("did you mean --%s?", near)
	}
	var owners []string
	for _, other := range commands() {
		theirs := newFlagSet(other)
		other.flags(theirs)
		if theirs.Lookup(name) != nil {
			owners = append(owners, other.name)
		}
	}
	if n := len(owners); n > 0 {
		last := owners[n-1]
		if n > 1 {
			last = strings.Join(owners[:n-1], ", ") + " and " + last
		}
		return err.hint("--%s belongs to rooftone %s", name, last)
	}
	return err.hint("rooftone %s --help shows its flags", cmd.name)
}

// flagHint is a flag's own help as a hint.
func flagHint(cmd command, f *pflag.Flag) string {
	value, usage := pflag.UnquoteUsage(f)
	if value != "" {
		value = " " + value
	}
	return fmt.Sprintf("--%s%s: %s; rooftone %s --help shows more", f.Name, value, usage, cmd.name)
}
