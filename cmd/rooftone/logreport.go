package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/watch"
)

// logReport tells what the log of a watch says.
type logReport struct {
	json  bool
	looks looks

	courseFile, dayFile string
}

func (l *logReport) declare(fs *pflag.FlagSet) {
	fs.Var(&fileName{&l.courseFile}, "course", "of a log: draw the margins against time to `FILE`: .png, .svg or .pdf")
	fs.Var(&fileName{&l.dayFile}, "day", "of a log: draw the margins against the hour of the day to `FILE`: .png, .svg or .pdf")
	fs.BoolVar(&l.json, "json", false, "of a log: print JSON, all that is known of it")
	l.looks.declare(fs)
}

// refuse refuses the flags of a log's report where a house's is wanted.
func (l *logReport) refuse(fs *pflag.FlagSet) error {
	for _, name := range []string{"json", "course", "day", "ascii", "color"} {
		if fs.Changed(name) {
			return usagef("--%s is for the report of a log", name).hint("leave --%s out", name)
		}
	}
	return nil
}

// watchPicture is a picture of a log that was asked for.
type watchPicture struct {
	flag, name string
	draw       func(io.Writer, string, *watch.Report, plot.Options) error
	format     string
	file       *outFile
}

func (l *logReport) run(c *console, name string) error {
	var pictures []*watchPicture
	for _, p := range []*watchPicture{
		{flag: "course", name: l.courseFile, draw: plot.Course},
		{flag: "day", name: l.dayFile, draw: plot.DayCourse},
	} {
		if p.name == "" {
			continue
		}
		var err error
		if p.format, err = plot.Format(p.name); err != nil {
			return usagef("--%s: %w", p.flag, err).hint("--%s picture.png, .svg or .pdf", p.flag)
		}
		if sameFile(p.name, name) {
			return usagef("--%s names the log itself", p.flag).hint("--%s picture.png", p.flag)
		}
		pictures = append(pictures, p)
	}
	if len(pictures) == 2 && sameFile(l.courseFile, l.dayFile) {
		return usagef("--course and --day name the same file").hint("give each picture a name of its own")
	}
	r, err := readLog(c, name)
	if err != nil {
		return err
	}
	for _, p := range pictures {
		if p.file, err = createOut(p.name); err != nil {
			return err
		}
		defer p.file.discard()
	}
	if l.json {
		err = writeJSON(c.stdout, newLogJSON(r))
	} else {
		s := c.screenFor(l.looks)
		err = plot.WatchRows(c.stdout, r, plot.TextOptions{Width: s.width, UTF8: s.utf8, Color: s.colour})
	}
	if err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	for _, p := range pictures {
		if err := p.file.finish(func(w io.Writer) error { return p.draw(w, p.format, r, plot.Options{}) }); err != nil {
			return err
		}
		p.file.say(c, "the picture")
	}
	return nil
}

// readLog reads a log and concludes from it.
func readLog(c *console, name string) (*watch.Report, error) {
	log, err := watch.Read(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, withHint(fmt.Errorf("no log %s", quote(name)), "rooftone watch 22 --log %s starts one", name)
	case errors.Is(err, watch.ErrNotLog):
		return nil, withHint(err, "rooftone watch makes one; a house's file goes with --site")
	case err != nil:
		return nil, logProblem(name, err)
	}
	if log.Damaged > 0 {
		c.note("%s: %d lines are damaged and passed over", name, log.Damaged)
	}
	return watch.Conclude(log), nil
}
