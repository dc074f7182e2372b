package main

import (
	"fmt"
	"os"

	"github.com/spf13/pflag"
)

// logReport tells what the log of a watch says.
type logReport struct {
	json bool
}

func (l *logReport) declare(fs *pflag.FlagSet) {
	fs.BoolVar(&l.json, "json", false, "of a log: print JSON, all that is known of it")
}

// refuse refuses the flags of a log's report where a house's is wanted.
func (l *logReport) refuse(fs *pflag.FlagSet) error {
	for _, name := range []string{"json"} {
		if fs.Changed(name) {
			return usagef("--%s is for the report of a log", name).hint("leave --%s out", name)
		}
	}
	return nil
}

func (l *logReport) run(_ *console, name string) error {
	if _, err := os.Stat(name); err != nil {
		return withHint(fmt.Errorf("no log %s: %w", quote(name), cause(err)), "rooftone watch 22 --log %s starts one", name)
	}
	return fmt.Errorf("%s is no log of a watch", quote(name))
}
