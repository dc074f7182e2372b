package main

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/site"
)

// siteFlag names the house file that a command reads or adds to.
type siteFlag struct{ name string }

func (s *siteFlag) declare(fs *pflag.FlagSet) {
	fs.Var(&fileName{&s.name}, "site", "the house `FILE`: what is wanted there, and what was measured where")
}

// check refuses a command without a house file.
func (s *siteFlag) check(command string) error {
	if s.name == "" {
		return usagef("%s needs the house file", command).hint("--site house.jsonl; rooftone want 7,22 --site house.jsonl starts one")
	}
	return nil
}

// read reads the house file, and says what in it could not be read.
func (s *siteFlag) read(c *console) (*site.House, error) {
	h, err := site.Read(s.name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, withHint(fmt.Errorf("no house file %s", quote(s.name)), "rooftone want 7,22 --site %s starts it", s.name)
	}
	if err != nil {
		return nil, err
	}
	const most = 3
	for i, d := range h.Damage {
		if i == most {
			c.note("%s: %d more lines are passed over", s.name, h.Damaged-most)
			break
		}
		c.note("%s: %v", s.name, d)
	}
	return h, nil
}

// start makes the house file if there is none, and says so.
func (s *siteFlag) start(c *console) error { return s.startNamed(c, "") }

// startNamed is start for a house with a name. A house that has one already
// keeps it.
func (s *siteFlag) startNamed(c *console, name string) error {
	if name == "" {
		base := filepath.Base(s.name)
		name = strings.TrimSuffix(base, filepath.Ext(base))
	}
	err := site.Create(s.name, site.Header{Name: name, Program: version()})
	switch {
	case err == nil:
		c.note("started the house file %s", s.name)
	case !errors.Is(err, fs.ErrExist):
		return noFolder(filepath.Dir(s.name), err)
	}
	return nil
}

// day is the flag value of a date, or of a moment.
type day struct{ to *time.Time }

func (d *day) Type() string { return "" }

func (d *day) String() string {
	if d.to == nil || d.to.IsZero() {
		return ""
	}
	return d.to.Format(time.RFC3339)
}

func (d *day) Set(s string) error {
	s = strings.TrimSpace(s)
	for _, layout := range []string{time.DateOnly, "2006-01-02T15:04", time.RFC3339} {
		if t, err := time.ParseInLocation(layout, s, time.Local); err == nil {
			*d.to = t
			return nil
		}
	}
	return fmt.Errorf("%s is no date: write 2026-03-05 or 2026-03-05T18:30", quote(s))
}

// whole is the flag value of a whole number between two limits. It points at
// nil until it is given.
type whole struct {
	to       **int
	min, max int
}

func (w *whole) Type() string { return "" }

func (w *whole) String() string {
	if w.to == nil || *w.to == nil {
		return ""
	}
	return fmt.Sprint(**w.to)
}

func (w *whole) Set(s string) error {
	v, err := strconv.Atoi(strings.TrimSpace(s))
	if err != nil {
		return fmt.Errorf("%s is not a whole number", quote(s))
	}
	if v < w.min || v > w.max {
		return fmt.Errorf("%d is outside %d to %d", v, w.min, w.max)
	}
	*w.to = &v
	return nil
}
