package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// canVisit reports whether marks can be measured carefully: there has to be a
// file to keep them in, and a radio.
func (s *aimSession) canVisit() bool { return s.file != "" && s.playback == nil }

// keep marks a place with what is read there now, and returns what to say. It
// says that a mark is kept only once it is.
func (s *aimSession) keep(at spotted) (string, error) {
	m, heard := s.mark(at)
	if heard == 0 {
		return "", errors.New("there is no reading to mark yet")
	}
	if err := s.append(m, at); err != nil {
		return "", err
	}
	said := "noted for this session: "
	if s.file != "" {
		said = "kept: "
		if s.canVisit() {
			said = "kept, a quick mark: "
		}
	}
	said += s.name(at)
	s.kept(m)
	return said, nil
}

// append adds a mark to the house's file, if there is one, and what the file
// learns from how it was told.
func (s *aimSession) append(m site.Mark, at spotted) error {
	north := site.North("")
	if s.rotor != nil && at.bearing != nil {
		north = site.TrueNorth // a simulated town's
	}
	s.mutex.Lock()
	if s.house == nil { // of this session alone
		s.house = &site.House{}
	}
	first := firstSetting(s.house, at.units, north, nil)
	s.mutex.Unlock()
	if s.file != "" {
		if err := site.Append(s.file, append([]site.Record{m}, first...)...); err != nil {
			return err
		}
	}
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.told.learn(first)
	for _, r := range first {
		if set, ok := r.(site.Setting); ok && set.Units != "" {
			s.house.Units = set.Units
		}
		if set, ok := r.(site.Setting); ok && set.North != "" {
			s.house.North = set.North
		}
	}
	return nil
}

// units are those in which heights are told and typed.
func (s *aimSession) units() site.Units {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	return s.told.units
}

// name names where a mark is made, as the house tells it.
func (s *aimSession) name(at spotted) string {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	return s.told.spot(at.place, at.bearing, at.height).Full()
}

// kept takes a mark in among those of the session.
func (s *aimSession) kept(m site.Mark) {
	s.mutex.Lock()
	s.marks = append(s.marks, m)
	n, name := len(s.marks), s.told.mark(m)
	s.mutex.Unlock()
	if s.page != nil {
		s.page.Marked(n, name)
	}
}

// keepCarefully has the meter pause for a careful visit to the wanted channels,
// keeps what that finds, and returns what to say.
func (s *aimSession) keepCarefully(ctx context.Context, at spotted) (string, error) {
	name := s.name(at)
	s.mutex.Lock()
	busy := s.marking
	if busy == "" {
		s.marking = name
	}
	s.mutex.Unlock()
	if busy != "" {
		return "", fmt.Errorf("%s is being measured: one at a time", busy)
	}
	defer func() {
		s.mutex.Lock()
		s.marking = ""
		s.mutex.Unlock()
	}()
	wanted, err := s.wanted()
	if err != nil {
		return "", err
	}
	survey, err := s.meter.Visit(ctx, scan.Options{
		Channels: wanted, Plan: s.options.Plan, Dwell: explainDwell,
		GainDB: s.options.GainDB, PPM: s.options.PPM, ThresholdDB: s.options.ThresholdDB,
	})
	switch {
	case err != nil && ctx.Err() == nil:
		return "", err
	case err != nil || survey.Interrupted:
		return "", errors.New("it was broken off")
	}
	m := site.NewMark(survey)
	m.Time, m.Place, m.BearingDeg, m.HeightM, m.Note, m.Program = time.Now(), at.place, at.bearing, at.height, at.note, version()
	if err := s.append(m, at); err != nil {
		return "", err
	}
	s.kept(m)
	decode := 0
	for _, h := range m.Heard {
		if h.Margin != nil && h.Margin.Value >= 0 {
			decode++
		}
	}
	return fmt.Sprintf("kept: %s; %d of %d channels decode", s.name(at), decode, len(m.Heard)), nil
}

// wanted is what a careful mark measures: the house's wanted channels as its
// file has them now, or those that are followed where none is.
func (s *aimSession) wanted() ([]band.Channel, error) {
	house, err := site.Read(s.file)
	if err != nil {
		return nil, err
	}
	if len(house.Wanted) == 0 {
		return s.options.Channels, nil
	}
	var out []band.Channel
	for _, c := range s.options.Plan {
		for _, w := range house.Wanted {
			if w.RFChannel == c.Number {
				out = append(out, c)
			}
		}
	}
	if len(out) < len(house.Wanted) {
		return nil, lacking(band.Plan{Name: s.plan, Channels: s.options.Plan}, house.Wanted, s.file)
	}
	return out, nil
}

// isMarking names the place that is being measured carefully.
func (s *aimSession) isMarking() string {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	return s.marking
}

// listMarks prints the marks that no file keeps, the last chance to see them.
func (s *aimSession) listMarks() {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	for _, text := range s.later {
		s.console.note("%s", text)
	}
	if s.file != "" {
		return
	}
	for _, m := range s.marks {
		fmt.Fprintf(s.console.stdout, "%s  %s", m.Time.Format("15:04:05"), oneLine(s.told.mark(m)))
		for _, h := range m.Heard {
			switch {
			case h.Margin == nil && h.CN == nil:
				fmt.Fprintf(s.console.stdout, "  RF %d nothing", h.RFChannel)
			case h.Margin == nil:
				fmt.Fprintf(s.console.stdout, "  RF %d C/N %.1f dB", h.RFChannel, h.CN.Value)
			default:
				fmt.Fprintf(s.console.stdout, "  RF %d %+.1f dB", h.RFChannel, h.Margin.Value)
			}
		}
		fmt.Fprintln(s.console.stdout)
	}
}

// mark makes a mark of the newest readings. A recording's is of its own time,
// if it tells.
func (s *aimSession) mark(at spotted) (m site.Mark, heard int) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	m = site.Mark{
		Time: time.Now(), Place: at.place, BearingDeg: at.bearing, HeightM: at.height, Note: at.note,
		Look: site.Live, Program: version(), Source: s.source, ThresholdDB: s.options.ThresholdDB,
	}
	if s.clock != nil {
		ppm := s.clock.PPM
		m.Clock = &ppm
	}
	for _, c := range s.options.Channels {
		u, ok := s.latest[c.Number]
		if !ok || u.State == meter.Learning || u.State == meter.Uncovered {
			continue
		}
		heard++
		m.Heard = append(m.Heard, heardNow(u))
		if year := u.Time.Year(); s.playback != nil && year > 1970 {
			m.Time = u.Time
		}
	}
	return m, heard
}

// heardNow is a reading as a house file has it.
func heardNow(u meter.Update) site.Heard {
	h := site.Heard{
		RFChannel: u.Channel.Number, Presence: measure.Vacant,
		Margin: u.Margin, CN: u.CN, MER: u.MER, GainDB: u.GainDB, Clipped: u.Clipped, Lost: u.Lost,
	}
	h.HeardPart(u.Seen)
	if u.Standard == measure.ATSC3 {
		h.Presence, h.Standard = measure.Present, u.Standard
		if u.Figure() == nil { // it was there at the careful visit, and is not heard here
			h.Presence, h.Standard = measure.Vacant, ""
		}
		return h
	}
	if u.Occupied || u.Foreign() { // the figure promises no picture
		h.Presence, h.MarginMethod, h.Occupied = measure.Unsure, u.Method, u.Occupied
		if u.Occupied {
			h.Standard, h.Margin = measure.OtherStandard, nil
		}
		return h
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
