package main

import (
	"context"
	"fmt"
	"math"
	"net"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"rooftone/plot/page"
	"rooftone/scan"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/site"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/verdict"
)

// aimSession is one run of aim: what was read last, and what was marked. It is
// used by the meter, the terminal and the page at once.
type aimSession struct {
	console *console
	options meter.Options
	source  string
	meter   *meter.Meter
	follow  func(ctx context.Context, deliver func(meter.Update) error) error
	// playback is set where the readings are a recording's.
	playback *playback

	page  *page.Page // nil: none
	urls  []string
	rotor *rotor // of a simulated antenna; or nil
	file  string // the house file; "" keeps marks for this session only
	house *site.House

	mutex  sync.Mutex
	latest map[int]meter.Update
	clock  *measure.Clock
	marks  []site.Mark
}

// learned takes what a careful visit found.
func (s *aimSession) learned(survey *scan.Survey) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.clock = survey.Clock
}

// note takes a reading in and hands it to the page.
// It is called by the meter's goroutine, between two stays.
func (s *aimSession) note(u meter.Update) {
	s.rotor.obey()
	s.mutex.Lock()
	s.latest[u.Channel.Number] = u
	s.playback.count(u)
	s.mutex.Unlock()
	if s.page != nil {
		s.page.Publish(u)
	}
}

// label is what people call a channel.
func (s *aimSession) label(rfChannel int) string {
	if s.house == nil {
		return ""
	}
	return s.house.Label(rfChannel)
}

// serve serves the phone page and says where. What it returns is closed once
// that has ended.
func (s *aimSession) serve(ctx context.Context, l net.Listener) <-chan struct{} {
	o := page.Options{Source: s.source, Channels: s.options.Channels, Labels: map[int]string{}}
	for _, c := range o.Channels {
		o.Labels[c.Number] = s.label(c.Number)
	}
	if name, err := os.Hostname(); err == nil {
		o.Names = []string{name, name + ".local"}
	}
	o.Mark = func(_ context.Context, m page.Mark) (string, error) {
		return s.keep(m.Place, m.BearingDeg, m.Note)
	}
	o.Reset = s.meter.ResetBest
	s.page = page.New(o)
	s.urls = s.page.URLs(l)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := s.page.Serve(ctx, l); err != nil {
			s.console.note("%v", err)
		}
	}()
	if len(s.urls) > 0 {
		s.console.note("the phone page is %s", s.urls[0])
	}
	return done
}

// keep marks a place with what is read there now, and returns what to say. It
// says that a mark is kept only once it is.
func (s *aimSession) keep(place string, bearingDeg *float64, text string) (string, error) {
	m, heard := s.mark(place, bearingDeg, text)
	if heard == 0 {
		return "", fmt.Errorf("there is no reading to mark yet")
	}
	said := "noted for this session: " + place
	if s.file != "" {
		if err := site.Append(s.file, m); err != nil {
			return "", err
		}
		said = "kept: " + place
	}
	if bearingDeg != nil {
		said += fmt.Sprintf(" @ %.0f°", *bearingDeg)
	}
	s.mutex.Lock()
	s.marks = append(s.marks, m)
	s.mutex.Unlock()
	return said, nil
}

// listMarks prints the marks that no file keeps, the last chance to see them.
func (s *aimSession) listMarks() {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	if s.file != "" {
		return
	}
	for _, m := range s.marks {
		fmt.Fprintf(s.console.stdout, "%s  %s", m.Time.Format("15:04:05"), oneLine(m.Place))
		if m.BearingDeg != nil {
			fmt.Fprintf(s.console.stdout, " @ %.0f", *m.BearingDeg)
		}
		for _, h := range m.Heard {
			if h.Margin == nil {
				fmt.Fprintf(s.console.stdout, "  RF %d nothing", h.RFChannel)
			} else {
				fmt.Fprintf(s.console.stdout, "  RF %d %+.1f dB", h.RFChannel, h.Margin.Value)
			}
		}
		fmt.Fprintln(s.console.stdout)
	}
}

// mark makes a mark of the newest readings.
func (s *aimSession) mark(place string, bearingDeg *float64, text string) (m site.Mark, heard int) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	m = site.Mark{
		Time: time.Now(), Place: place, BearingDeg: bearingDeg, Note: text,
		Program: version(), Source: s.source, ThresholdDB: s.options.ThresholdDB,
	}
	if s.clock != nil {
		ppm := s.clock.PPM
		m.Clock = &ppm
	}
	for _, c := range s.options.Channels {
		u, ok := s.latest[c.Number]
		if !ok || u.State == meter.Learning {
			continue
		}
		heard++
		m.Heard = append(m.Heard, heardNow(u))
	}
	return m, heard
}

// heardNow is a reading as a house file has it.
func heardNow(u meter.Update) site.Heard {
	h := site.Heard{
		RFChannel: u.Channel.Number, Presence: measure.Vacant,
		Margin: u.Margin, CN: u.CN, MER: u.MER, GainDB: u.GainDB, Clipped: u.Clipped, Lost: u.Lost,
	}
	if u.Margin == nil {
		return h
	}
	h.Presence, h.MarginMethod = measure.Present, u.Method
	if u.Trained {
		h.Standard = measure.ATSC1
	}
	h.Grade = verdict.GradeOf(u.Margin.Value)
	if u.Overload {
		h.Limits = append(h.Limits, verdict.Overload)
	}
	return h
}

// rotor turns a simulated antenna. The radio is the meter's, so what is asked is
// done when the meter comes by.
type rotor struct {
	radio *sim.Tuner

	mutex   sync.Mutex
	bearing float64
	asked   bool
}

func newRotor(radio *sim.Tuner, bearingDeg *float64) *rotor {
	r := &rotor{radio: radio, bearing: radio.Town().Antenna.BearingDeg}
	if bearingDeg != nil {
		r.bearing = *bearingDeg
	}
	return r
}

// turn asks for the antenna to be turned and returns where it will point.
func (r *rotor) turn(byDeg float64) float64 {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.bearing = math.Mod(r.bearing+byDeg+360, 360)
	r.asked = true
	return r.bearing
}

func (r *rotor) obey() {
	if r == nil {
		return
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	if r.asked {
		r.asked = false
		_ = r.radio.Rotate(r.bearing, 0) // the bearing is in range
	}
}

// parsePlace reads "chimney @ 135" into a place and a heading.
func parsePlace(s string) (place string, bearingDeg *float64, err error) {
	place, heading, has := strings.Cut(s, "@")
	if place = strings.TrimSpace(place); place == "" {
		return "", nil, fmt.Errorf("the place has no name")
	}
	if !has {
		return place, nil, nil
	}
	heading = strings.TrimSuffix(strings.TrimSpace(heading), "°")
	v, err := strconv.ParseFloat(heading, 64)
	if err != nil || math.IsNaN(v) || v < 0 || v > 360 {
		return "", nil, fmt.Errorf("the heading is a number from 0 to 360")
	}
	return place, &v, nil
}
