package main

import (
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// stationFlags say which stations are on the channels and where they stand.
type stationFlags struct {
	file        string
	at          string
	declination *float64

	list  []site.Station // by RF channel: the list's, and the house's that are not in it
	seen  []site.Bearings
	given bool

	site  siteFlag
	house *site.House // nil without one
	asked unitsFlag   // unless the command has one of its own
	units site.Units  // in which distances are told
}

func (s *stationFlags) declare(fs *pflag.FlagSet) {
	fs.Var(&fileName{&s.file}, "stations", "a list of stations, a CSV `FILE` with the columns rf_channel, latitude, longitude and, if known, label, erp_kw, height_m, shown_channel")
	fs.StringVar(&s.at, "at", "", "where this antenna is, as `LAT,LON` in degrees, such as 44.26,-72.58: stations get a bearing and a distance")
	fs.Var(&number{to: &s.declination, min: -180, max: 180, unit: "degrees"}, "declination", "by how many `DEGREES` a compass points east of true north here (west is negative): bearings are then a compass's; look it up, for it drifts from year to year. The house's own unless given")
	if fs.Lookup("units") == nil {
		s.asked.declare(fs)
	}
}

// declareSite declares --site, unless the command has one of its own.
func (s *stationFlags) declareSite(fs *pflag.FlagSet) {
	if fs.Lookup("site") == nil {
		fs.Var(&fileName{&s.site.name}, "site", "the house `FILE`, which knows stations: those of its list, and who was received before; who is received now is added to it")
	}
}

// read reads the list, if one was named.
func (s *stationFlags) read() error {
	if s.asked.word != "" {
		s.units = site.Units(s.asked.word)
	}
	if s.file == "" {
		if s.at != "" && s.site.name == "" {
			return usagef("--at goes with a list of stations").hint("--stations list.csv --at %s", s.at)
		}
		return s.locate()
	}
	f, err := os.Open(s.file)
	if err != nil {
		return fmt.Errorf("reading the station list %s: %w", s.file, cause(err))
	}
	defer f.Close()
	if s.list, err = site.ReadStations(f); err != nil {
		return fmt.Errorf("%s: %w", s.file, err)
	}
	s.given = true
	return s.locate()
}

// locate finds where the stations stand as seen from --at.
func (s *stationFlags) locate() error {
	if s.at == "" {
		return nil
	}
	at, err := site.ParsePosition(s.at)
	if err != nil {
		return usagef("--at: %w", err).hint("--at 44.26,-72.58: latitude and longitude in degrees, north and east positive")
	}
	s.seen, err = site.From(at, s.list)
	return err
}

// readHouse reads the house's file, if one was named: its stations join the list.
func (s *stationFlags) readHouse(c *console) error {
	if s.site.name == "" {
		return nil
	}
	house, err := s.site.read(c)
	if err != nil {
		return err
	}
	return s.join(house)
}

// join adds what a house knows.
func (s *stationFlags) join(house *site.House) error {
	s.house, s.units = house, s.asked.telling(house).units
	if s.declination == nil {
		s.declination = house.DeclinationDeg
	}
	for _, st := range house.Stations {
		if !slices.ContainsFunc(s.list, func(o site.Station) bool { return o.RFChannel == st.RFChannel && o.Label == st.Label }) {
			s.list = append(s.list, st)
		}
	}
	s.given = s.given || len(house.Stations) > 0
	return s.locate()
}

// label is what to call the station on a channel; "" when that is not known.
func (s *stationFlags) label(rfChannel int) string {
	if s.house != nil {
		if l := s.house.Label(rfChannel); l != "" {
			return l
		}
	}
	if known := s.report(rfChannel); len(known) == 1 {
		return known[0].Label
	}
	return ""
}

// name gives the channels of a survey on which something is the labels that are
// known.
func (s *stationFlags) name(survey *scan.Survey) {
	for i := range survey.Channels {
		c := &survey.Channels[i]
		if c.Label == "" && c.Heard() && c.Presence != measure.Vacant {
			c.Label = s.label(c.Channel.Number)
		}
	}
}

// identity is who is on a channel, received now or known to the house; nil when
// neither says.
func (s *stationFlags) identity(c *scan.Channel) *reportIdentity {
	if c.Identity != nil {
		return identityOf(c.Identity)
	}
	if s.house == nil || !c.Heard() || c.Presence == measure.Vacant {
		return nil
	}
	return identityFrom(s.house.LearntOf(c.Channel.Number))
}

// remember adds to the house's file who was received, where that is news.
func (s *stationFlags) remember(c *console, survey *scan.Survey) error {
	if s.house == nil {
		return nil
	}
	var news []site.Record
	var said []string
	for i := range survey.Channels {
		ch := &survey.Channels[i]
		if ch.Identity == nil {
			continue
		}
		l := learntOf(ch.Identity, ch.Channel.Number)
		if old := s.house.LearntOf(l.RFChannel); old != nil && reflect.DeepEqual(old.Services, l.Services) && reflect.DeepEqual(old.TransportID, l.TransportID) {
			continue
		}
		news = append(news, l)
		said = append(said, fmt.Sprintf("%d is %s", l.RFChannel, l.Label()))
	}
	if len(news) == 0 {
		return nil
	}
	if err := site.Append(s.site.name, news...); err != nil {
		return err
	}
	c.note("kept in %s: channel %s", s.site.name, strings.Join(said, ", "))
	return nil
}

// reportStation is a station on a channel, from the list.
type reportStation struct {
	Label              string   `json:"label"`
	ShownChannel       *string  `json:"shown_channel"` // as a TV shows it
	BearingDeg         *float64 `json:"bearing_deg"`   // from true north
	MagneticBearingDeg *float64 `json:"magnetic_bearing_deg"`
	DistanceKM         *float64 `json:"distance_km"`
}

func (r reportStation) String() string {
	out := []string{r.Label}
	if r.BearingDeg != nil {
		out = append(out, figure(r.BearingDeg)+" deg", figure(r.DistanceKM)+" km")
	}
	return strings.TrimSpace(strings.Join(out, " "))
}

// report lists the stations on a channel: nil without a list.
func (s *stationFlags) report(rfChannel int) []reportStation {
	if !s.given {
		return nil
	}
	out := []reportStation{}
	if s.at == "" {
		for _, st := range s.list {
			if st.RFChannel == rfChannel {
				out = append(out, reportStation{Label: st.Label, ShownChannel: text(st.Shown)})
			}
		}
		return out
	}
	for _, b := range s.seen {
		if b.RFChannel != rfChannel {
			continue
		}
		r := reportStation{Label: b.Label, ShownChannel: text(b.Shown), BearingDeg: round(b.BearingDeg, 0.1), DistanceKM: round(b.DistanceM/1e3, 0.1)}
		if s.declination != nil {
			r.MagneticBearingDeg = round(site.MagneticBearing(b.BearingDeg, *s.declination), 0.1)
		}
		out = append(out, r)
	}
	return out
}

// lines say of some channels which stations the list has there.
func (s *stationFlags) lines(channels []int) []string {
	var out []string
	for _, n := range channels {
		for _, r := range s.report(n) {
			line := fmt.Sprintf("%3d  %s", n, r.Label) + s.direction(r)
			if r.ShownChannel != nil {
				line += ", shown as " + *r.ShownChannel
			}
			out = append(out, line)
		}
	}
	return out
}

// direction says where a station is; "" when that is not known.
func (s *stationFlags) direction(r reportStation) string {
	if r.BearingDeg == nil {
		return ""
	}
	line := fmt.Sprintf("  %s true", site.Heading(*r.BearingDeg))
	if r.MagneticBearingDeg != nil {
		line += fmt.Sprintf(" (%s by compass)", site.Heading(*r.MagneticBearingDeg))
	}
	return line + ", " + s.units.Distance(*r.DistanceKM*1e3)
}

// show tells below a survey's rows which stations its channels are.
func (s *stationFlags) show(c *console, survey *scan.Survey, l looks) error {
	if err := s.showIdentities(c, survey, l); err != nil {
		return err
	}
	return s.showExpected(c, survey, l)
}

// showIdentities tells who was received, now or before.
func (s *stationFlags) showIdentities(c *console, survey *scan.Survey, l looks) error {
	var lines []string
	for i := range survey.Channels {
		ch := &survey.Channels[i]
		who := s.identity(ch)
		if who == nil {
			continue
		}
		how := "received now"
		if who.How == howHouse {
			how = "as the house's file knows"
			if who.When != nil {
				how += " since " + (*who.When)[:len("2006-01-02")]
			}
		}
		lines = append(lines, fmt.Sprintf("%3d  %s; %s", ch.Channel.Number, who.names(), how))
	}
	if len(lines) == 0 {
		return nil
	}
	screen := c.screenFor(l)
	return plot.Lines(c.stdout, append([]string{"", "who they say they are:"}, lines...), plot.TextOptions{Width: screen.width, UTF8: screen.utf8})
}

// write tells which stations the list has on some channels.
func (s *stationFlags) write(c *console, channels []int, l looks) error {
	lines := s.lines(channels)
	if len(lines) == 0 {
		return nil
	}
	heading := "stations of the list on these channels"
	if s.at != "" {
		heading += ", seen from " + s.at
	}
	screen := c.screenFor(l)
	return plot.Lines(c.stdout, append([]string{"", heading + ":"}, lines...), plot.TextOptions{Width: screen.width, UTF8: screen.utf8})
}
