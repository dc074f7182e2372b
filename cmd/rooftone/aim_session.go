package main

import (
	"context"
	"math"
	"net"
	"os"
	"sync"

	"rooftone/plot/page"
	"rooftone/scan"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/site"
	"rooftone/scan/tuner/sim"
)

// aimSession is one run of aim: what was read last, and what was marked. It is
// used by the meter, the terminal and the page at once.
type aimSession struct {
	console *console
	options meter.Options
	plan    string // the name of the channel plan
	source  string
	meter   *meter.Meter
	follow  func(ctx context.Context, deliver func(meter.Update) error) error
	// playback is set where the readings are a recording's.
	playback *playback

	page     *page.Page // nil: none
	urls     []string
	rotor    *rotor // of a simulated antenna; or nil
	file     string // the house file; "" keeps marks for this session only
	house    *site.House
	told     telling       // guarded by mutex
	stations *stationFlags // whose names are shown; nil: none are known

	mutex  sync.Mutex
	latest map[int]meter.Update
	clock  *measure.Clock
	marks  []site.Mark
	// marking names the place that is being measured carefully; "" is none.
	marking string
	later   []string // what could not be said while the screen was drawn
	drawn   bool     // the screen belongs to the meter
}

// say tells something, when the screen is the meter's at its end.
func (s *aimSession) say(text string) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	if s.drawn {
		s.later = append(s.later, text)
		return
	}
	s.console.note("%s", text)
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
	if s.stations == nil {
		return ""
	}
	return s.stations.label(rfChannel)
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
	o.Careful = s.canVisit()
	o.Units, o.North = s.told.units, s.told.north
	o.Mark = func(_ context.Context, m page.Mark) (string, error) {
		at := spotted{m.Place, m.BearingDeg, m.HeightM, m.Note, site.Units(m.Units)}
		if m.Quick || !s.canVisit() {
			return s.keep(at)
		}
		// A phone that goes out of reach meanwhile does not undo it.
		return s.keepCarefully(ctx, at)
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

// rotor turns and carries a simulated antenna. The radio is the meter's, so what
// is asked is done when the meter comes by.
type rotor struct {
	radio *sim.Tuner

	mutex       sync.Mutex
	bearing     float64
	east, north float64
	turned      bool
	carried     bool
}

func newRotor(radio *sim.Tuner, at stand) *rotor {
	a := radio.Town().Antenna
	r := &rotor{radio: radio, bearing: a.BearingDeg, east: a.EastM, north: a.NorthM}
	for _, x := range []struct{ from, to *float64 }{{at.bearing, &r.bearing}, {at.east, &r.east}, {at.north, &r.north}} {
		if x.from != nil {
			*x.to = *x.from
		}
	}
	return r
}

// turn asks for the antenna to be turned and returns where it will point.
func (r *rotor) turn(byDeg float64) float64 {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.bearing = math.Mod(r.bearing+byDeg+360, 360)
	r.turned = true
	return r.bearing
}

// carry asks for the antenna to be carried and returns where it will stand.
func (r *rotor) carry(eastM float64) (east float64) {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.east = max(-1000, min(1000, r.east+eastM))
	r.carried = true
	return r.east
}

func (r *rotor) obey() {
	if r == nil {
		return
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	if r.turned {
		_ = r.radio.Rotate(r.bearing, 0) // the bearing is in range
	}
	if r.carried {
		_ = r.radio.Move(r.east, r.north) // so is the place
	}
	r.turned, r.carried = false, false
}
