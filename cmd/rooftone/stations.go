package main

import (
	"fmt"
	"math"
	"os"
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

	list  []site.Station // by RF channel
	seen  []site.Bearings
	given bool
}

func (s *stationFlags) declare(fs *pflag.FlagSet) {
	fs.Var(&fileName{&s.file}, "stations", "a list of stations, a CSV `FILE` with the columns rf_channel, latitude, longitude and, if known, label, erp_kw, height_m")
	fs.StringVar(&s.at, "at", "", "where this antenna is, as `LAT,LON` in degrees, such as 44.26,-72.58: stations get a bearing and a distance")
	fs.Var(&number{to: &s.declination, min: -180, max: 180, unit: "degrees"}, "declination", "by how many `DEGREES` a compass points east of true north here (west is negative): bearings are then a compass's; look it up, for it drifts from year to year")
}

// read reads the list, if one was named.
func (s *stationFlags) read() error {
	if s.file == "" {
		if s.at != "" {
			return usagef("--at goes with a list of stations").hint("--stations list.csv --at %s", s.at)
		}
		return nil
	}
	var at site.Position
	if s.at != "" {
		var err error
		if at, err = site.ParsePosition(s.at); err != nil {
			return usagef("--at: %w", err).hint("--at 44.26,-72.58: latitude and longitude in degrees, north and east positive")
		}
	}
	f, err := os.Open(s.file)
	if err != nil {
		return fmt.Errorf("reading the station list %s: %w", s.file, cause(err))
	}
	defer f.Close()
	if s.list, err = site.ReadStations(f); err != nil {
		return fmt.Errorf("%s: %w", s.file, err)
	}
	if s.at != "" {
		if s.seen, err = site.From(at, s.list); err != nil {
			return err
		}
	}
	s.given = true
	return nil
}

// reportStation is a station on a channel, from the list.
type reportStation struct {
	Label              string   `json:"label"`
	BearingDeg         *float64 `json:"bearing_deg"` // from true north
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
				out = append(out, reportStation{Label: st.Label})
			}
		}
		return out
	}
	for _, b := range s.seen {
		if b.RFChannel != rfChannel {
			continue
		}
		r := reportStation{Label: b.Label, BearingDeg: round(b.BearingDeg, 0.1), DistanceKM: round(b.DistanceM/1e3, 0.1)}
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
			line := fmt.Sprintf("%3d  %s", n, r.Label)
			if r.BearingDeg != nil {
				line += fmt.Sprintf("  %.0f° true", turned(*r.BearingDeg))
				if r.MagneticBearingDeg != nil {
					line += fmt.Sprintf(" (%.0f° by compass)", turned(*r.MagneticBearingDeg))
				}
				line += fmt.Sprintf(", %.3g km or %.3g miles", *r.DistanceKM, *r.DistanceKM/1.609344)
			}
			out = append(out, line)
		}
	}
	return out
}

// turned is a bearing rounded to whole degrees, so that 359.7 is 0.
func turned(deg float64) float64 { return math.Mod(math.Round(deg)+360, 360) }

// show tells below a survey's rows which stations its channels are.
func (s *stationFlags) show(c *console, survey *scan.Survey, l looks) error {
	if !s.given {
		return nil
	}
	var present []int
	for i := range survey.Channels {
		if ch := &survey.Channels[i]; ch.Covered && ch.Presence != measure.Vacant {
			present = append(present, ch.Channel.Number)
		}
	}
	return s.write(c, present, l)
}

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

// bearingsOf returns where a channel's stations stand, from true north or, with
// a declination, as a compass shows it.
func (s *stationFlags) bearingsOf(rfChannel int) []float64 {
	var out []float64
	for _, r := range s.report(rfChannel) {
		switch {
		case r.MagneticBearingDeg != nil:
			out = append(out, *r.MagneticBearingDeg)
		case r.BearingDeg != nil:
			out = append(out, *r.BearingDeg)
		}
	}
	return out
}
