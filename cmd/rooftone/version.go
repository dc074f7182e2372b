package main

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/pflag"
)

func versionCommand() command {
	return command{
		name:  "version",
		short: "which rooftone this is",
		about: "Shows the version, the commit it was built from and the Go that built it.",
		flags: func(*pflag.FlagSet) func(context.Context, *console, []string) error {
			return func(_ context.Context, c *console, args []string) error {
				if len(args) > 0 {
					return usagef("version takes no arguments, but was given %s", quote(args[0])).hint("rooftone version")
				}
				_, err := fmt.Fprintln(c.stdout, version())
				return err
			}
		},
	}
}

// version describes this build as far as the toolchain recorded it.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "rooftone, version unknown"
	}
	return describeBuild(info)
}

func describeBuild(info *debug.BuildInfo) string {
	settings := map[string]string{}
	for _, s := range info.Settings {
		settings[s.Key] = s.Value
	}
	release := info.Main.Version
	if release == "" || release == "(devel)" {
		release = "development build"
	}
	s := "rooftone " + release
	if commit := settings["vcs.revision"]; commit != "" {
		s += ", commit " + commit[:min(12, len(commit))]
		if settings["vcs.modified"] == "true" {
			s += " with changes"
		}
	}
	return fmt.Sprintf("%s, %s, %s/%s", s, info.GoVersion, runtime.GOOS, runtime.GOARCH)
}
