package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/site"
)

func stationsCommand() command {
	return command{
		name:  "stations",
		short: "what a house knows of its stations: by name, by list, by who was received",
		about: `Shows what the house's file knows of the stations on each channel: what people
call them, where a list says they stand, and who they said they were when they
were received. Sweeps of the house show the same, also with a radio that cannot
receive.

--add keeps a list of stations in the house's file: a CSV file with the columns
rf_channel, latitude, longitude and, if known, label, erp_kw, height_m and
shown_channel, the number that a TV shows. What a wide radio receives is kept by receive and sweep with --site.`,
		examples: `rooftone stations --site house.jsonl              what is known
rooftone stations --site house.jsonl --add list.csv
                                                  keep a list of stations
rooftone stations --site house.jsonl --at 44.26,-72.58
                                                  with bearings and distances
rooftone sweep 14-36 --from sim:lighthouse --rate 8M --site house.jsonl
                                                  learn who they are`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var s stationsFlags
			s.declare(fs)
			return func(_ context.Context, c *console, operands []string) error {
				return s.run(c, operands)
			}
		},
	}
}

type stationsFlags struct {
	site  siteFlag
	add   string
	known stationFlags
	json  bool
	looks looks
}

func (s *stationsFlags) declare(fs *pflag.FlagSet) {
	s.site.declare(fs)
	fs.Var(&fileName{&s.add}, "add", "keep the stations of a list, a CSV `FILE`, in the house's file")
	fs.StringVar(&s.known.at, "at", "", "where this antenna is, as `LAT,LON` in degrees, such as 44.26,-72.58: stations get a bearing and a distance")
	fs.Var(&number{to: &s.known.declination, min: -180, max: 180, unit: "degrees"}, "declination", "by how many `DEGREES` a compass points east of true north here (west is negative); the house's own unless given")
	s.known.asked.declare(fs)
	fs.BoolVar(&s.json, "json", false, "print JSON")
	s.looks.declare(fs)
}

// stationsReport is what stations --json prints: a public contract, described in the
// README.
type stationsReport struct {
	Schema   string        `json:"schema"`
	House    string        `json:"house"`
	Channels []stationsRow `json:"channels"`
}

type stationsRow struct {
	RFChannel int             `json:"rf_channel"`
	Label     string          `json:"label"`
	Station   *reportIdentity `json:"station"`
	Stations  []reportStation `json:"stations"`
}

const stationsSchema = "rooftone.stations/1"

func (s *stationsFlags) run(c *console, operands []string) error {
	if err := s.site.check("stations"); err != nil {
		return err
	}
	if len(operands) > 0 {
		return usagef("stations takes no arguments").hint("rooftone stations --site %s", s.site.name)
	}
	s.known.site = s.site // so that --at needs no list
	if err := s.known.read(); err != nil {
		return err
	}
	if s.add != "" {
		if err := s.keep(c); err != nil {
			return err
		}
	}
	house, err := s.site.read(c)
	if err != nil {
		return err
	}
	if err := s.known.join(house); err != nil {
		return err
	}
	r := s.report(house)
	if s.json {
		return writeJSON(c.stdout, r)
	}
	return s.print(c, r)
}

// keep adds those of a list to the house's file that are not there yet.
func (s *stationsFlags) keep(c *console) error {
	f, err := os.Open(s.add)
	if err != nil {
		return fmt.Errorf("reading the station list %s: %w", s.add, cause(err))
	}
	defer f.Close()
	list, err := site.ReadStations(f)
	if err != nil {
		return fmt.Errorf("%s: %w", s.add, err)
	}
	if err := s.site.start(c); err != nil {
		return err
	}
	house, err := site.Read(s.site.name)
	if err != nil {
		return err
	}
	var news []site.Record
	for _, st := range list {
		if !slices.ContainsFunc(house.Stations, func(o site.Station) bool {
			return o.RFChannel == st.RFChannel && o.Label == st.Label && o.At == st.At && o.Shown == st.Shown
		}) {
			news = append(news, st)
		}
	}
	if err := site.Append(s.site.name, news...); err != nil {
		return err
	}
	c.note("kept %d of %d stations in %s", len(news), len(list), s.site.name)
	return nil
}

func (s *stationsFlags) report(house *site.House) stationsReport {
	r := stationsReport{Schema: stationsSchema, House: house.Name, Channels: []stationsRow{}}
	var numbers []int
	for _, w := range house.Wanted {
		if w.Label != "" {
			numbers = append(numbers, w.RFChannel)
		}
	}
	for _, st := range s.known.list {
		numbers = append(numbers, st.RFChannel)
	}
	for _, l := range house.Learnt {
		numbers = append(numbers, l.RFChannel)
	}
	slices.Sort(numbers)
	for _, n := range slices.Compact(numbers) {
		list := s.known.report(n)
		if list == nil {
			list = []reportStation{}
		}
		r.Channels = append(r.Channels, stationsRow{n, s.known.label(n), identityFrom(house.LearntOf(n)), list})
	}
	return r
}

func (s *stationsFlags) print(c *console, r stationsReport) error {
	if len(r.Channels) == 0 {
		c.note("no stations are known in %s", s.site.name)
		c.hint(fmt.Sprintf("rooftone receive 22 --from wide.sigmf-meta --site %s learns one, rooftone stations --add list.csv --site %s a list of them", s.site.name, s.site.name))
		return nil
	}
	var lines []string
	for _, ch := range r.Channels {
		label := ch.Label
		if label == "" {
			label = "several"
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%3d  %s", ch.RFChannel, label), " "))
		if who := ch.Station; who != nil {
			for _, l := range who.lines() {
				lines = append(lines, "     "+strings.TrimSpace(l))
			}
			if who.When != nil {
				lines = append(lines, "     received "+(*who.When)[:len("2006-01-02")])
			}
		}
		for _, l := range s.known.lines([]int{ch.RFChannel}) {
			lines = append(lines, "     list: "+strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(l), fmt.Sprint(ch.RFChannel))))
		}
	}
	screen := c.screenFor(s.looks)
	if err := plot.Lines(c.stdout, lines, plot.TextOptions{Width: screen.width, UTF8: screen.utf8}); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	return nil
}
