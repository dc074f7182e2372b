package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"rooftone/scan/site"
)

// This file knows the numbers that a TV shows, such as 8.1: they may stand wherever
// a channel may, where the house or a list of stations says which RF channel that is.

var (
	shownNumber  = regexp.MustCompile(`^[0-9]{1,3}\.[0-9]{1,3}$`)
	channelsOnly = regexp.MustCompile(`^[0-9.,\-\s]+$`)
)

// asRF returns a command's operands with RF channels in place of the numbers that
// a TV shows, and says which those are.
func (c *console) asRF(cmd command, flags *pflag.FlagSet, operands []string) ([]string, error) {
	if !strings.Contains(cmd.operands, "CHANNEL") {
		return operands, nil
	}
	named := 0 // operands that are no channels
	if strings.HasPrefix(cmd.operands, "FILE") {
		named = 1
	}
	out := slices.Clone(operands)
	var known []shownAs
	for i := named; i < len(out); i++ {
		if !channelsOnly.MatchString(out[i]) {
			continue
		}
		items := strings.Split(out[i], ",")
		for k, item := range items {
			item = strings.TrimSpace(item)
			if !shownNumber.MatchString(item) {
				continue
			}
			if known == nil {
				var err error
				if known, err = shownBy(flags); err != nil {
					return nil, err
				}
			}
			rf, err := rfOf(item, known)
			if err != nil {
				return nil, err
			}
			items[k] = strconv.Itoa(rf)
			c.note("%s is RF channel %d", item, rf)
		}
		out[i] = strings.Join(items, ",")
	}
	return out, nil
}

// shownAs is an RF channel and a number that a TV shows for it.
type shownAs struct {
	rfChannel int
	number    string // 8.1, or 8 for all that begins so
}

// shownBy is what the house's file and the list of stations that a command was
// given say; not nil. What is wrong with them is said where they are used.
func shownBy(flags *pflag.FlagSet) ([]shownAs, error) {
	known := []shownAs{}
	name := func(flag string) string {
		if f := flags.Lookup(flag); f != nil {
			return f.Value.String()
		}
		return ""
	}
	var stations []site.Station
	if file := name("stations"); file != "" {
		f, err := os.Open(file)
		if err != nil {
			return nil, fmt.Errorf("reading the station list %s: %w", file, cause(err))
		}
		defer f.Close()
		if stations, err = site.ReadStations(f); err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
	}
	if file := name("site"); file != "" {
		house, err := site.Read(file)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return nil, err
		default:
			stations = append(stations, house.Stations...)
			for _, l := range house.Learnt {
				for _, s := range l.Services {
					known = append(known, shownAs{l.RFChannel, s.Number})
				}
			}
		}
	}
	for _, s := range stations {
		if s.Shown != "" {
			known = append(known, shownAs{s.RFChannel, s.Shown})
		}
	}
	return known, nil
}

// rfOf finds the RF channel of a number that a TV shows: by the whole of it, or else
// by what stands before its point, which a station's services have in common.
func rfOf(number string, known []shownAs) (int, error) {
	major, _, _ := strings.Cut(number, ".")
	for _, fits := range []func(string) bool{
		func(s string) bool { return s == number },
		func(s string) bool { return s == major },
		func(s string) bool { m, _, _ := strings.Cut(s, "."); return m == major },
	} {
		var found []int
		for _, k := range known {
			if fits(k.number) && !slices.Contains(found, k.rfChannel) {
				found = append(found, k.rfChannel)
			}
		}
		slices.Sort(found)
		switch len(found) {
		case 0:
		case 1:
			return found[0], nil
		default:
			return 0, usagef("a TV shows %s for RF channels %s", number, numbered(found)).hint("name one of them")
		}
	}
	return 0, usagef("%s is the number a TV shows, and which RF channel that is is not known here", number).
		hint("name the RF channel; rooftone receive, or sweep --rate 8M, with --site learns it by a radio that sees whole channels, and a --stations list tells it with the column shown_channel")
}

func numbered(numbers []int) string {
	var words []string
	for _, n := range numbers {
		words = append(words, strconv.Itoa(n))
	}
	return enumerated(words)
}

// shownFlags are for commands that need house and list for nothing else.
type shownFlags struct{ site, stations string }

func (s *shownFlags) declare(fs *pflag.FlagSet) {
	fs.Var(&fileName{&s.site}, "site", "the house `FILE`, which knows the RF channels of numbers that a TV shows, such as 8.1")
	fs.Var(&fileName{&s.stations}, "stations", "a list of stations, a CSV `FILE`, which knows the same in its column shown_channel")
}
