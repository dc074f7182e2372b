package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"rooftone/scan/receive"
	"rooftone/scan/site"
	"rooftone/scan/station"
)

// reportIdentity is who a station is, in JSON: a public contract, described in the
// README.
type reportIdentity struct {
	Label       string          `json:"label"`
	How         string          `json:"how"`
	When        *string         `json:"when"` // RFC 3339
	TransportID *int            `json:"transport_id"`
	Services    []reportService `json:"services"`
	Clock       *string         `json:"clock"` // RFC 3339
	ClockAheadS *float64        `json:"clock_ahead_s"`
}

// How a station's identity is known.
const (
	howReceived = "received" // just now
	howHouse    = "house"    // from the house's file
)

// reportService is one of a station's services.
type reportService struct {
	Number *string  `json:"number"`
	Name   *string  `json:"name"`
	Kind   *string  `json:"kind"`
	Video  []string `json:"video"`
	Audio  []string `json:"audio"`
}

func (r *reportIdentity) String() string {
	if r == nil {
		return ""
	}
	return r.Label
}

// text returns nil for the empty text.
func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// identityOf reports who was received; nil when nobody said.
func identityOf(i *receive.Identity) *reportIdentity {
	if i == nil {
		return nil
	}
	r := &reportIdentity{Label: i.Label(), How: howReceived, Services: []reportService{}}
	if !i.Received.IsZero() {
		r.When = text(i.Received.UTC().Format(time.RFC3339))
	}
	id := int(*i.TransportID)
	r.TransportID = &id
	for _, s := range services(i) {
		own := reportService{Number: text(s.Number), Name: text(s.Name), Video: nonNil(s.Video), Audio: nonNil(s.Audio)}
		if s.kind != 0 {
			own.Kind = text(s.kind.String())
		}
		r.Services = append(r.Services, own)
	}
	if i.Clock != nil {
		r.Clock = text(i.Clock.UTC.Format(time.RFC3339))
	}
	if a := i.ClockAheadS; a != nil {
		r.ClockAheadS = round(*a, 0.1)
	}
	return r
}

func nonNil(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

// identityFrom reports who a house's file remembers; nil when it does not.
func identityFrom(l *site.Learnt) *reportIdentity {
	if l == nil {
		return nil
	}
	r := &reportIdentity{
		Label: l.Label(), How: howHouse, When: text(l.Time.UTC().Format(time.RFC3339)),
		TransportID: l.TransportID, Services: []reportService{},
	}
	for _, s := range l.Services {
		r.Services = append(r.Services, reportService{Number: text(s.Number), Name: text(s.Name), Video: nonNil(s.Video), Audio: nonNil(s.Audio)})
	}
	return r
}

type service struct {
	site.LearntService
	kind station.ServiceKind
}

// services lists the services of a station that was received.
func services(i *receive.Identity) []service {
	var out []service
	for _, c := range i.Services() {
		s := service{kind: c.Kind}
		s.Name = c.Name
		if c.Major != 0 || c.Minor != 0 {
			s.Number = c.Number()
		}
		for _, x := range c.Streams {
			switch x.Kind() {
			case station.Video:
				s.Video = append(s.Video, x.Coding())
			case station.Audio:
				s.Audio = append(s.Audio, strings.TrimSpace(x.Coding()+" "+x.Language))
			}
		}
		out = append(out, s)
	}
	return out
}

// learntOf is what a house's file keeps of a station that was received.
func learntOf(i *receive.Identity, rfChannel int) site.Learnt {
	l := site.Learnt{Time: i.Received, RFChannel: rfChannel, Program: version()}
	if l.Time.IsZero() {
		l.Time = time.Now()
	}
	id := int(*i.TransportID)
	l.TransportID = &id
	for _, s := range services(i) {
		l.Services = append(l.Services, s.LearntService)
	}
	return l
}

// lines say who a station is.
func (r *reportIdentity) lines() []string {
	var out []string
	for _, s := range r.Services {
		name := strings.TrimSpace(word0(s.Number) + " " + word0(s.Name))
		if name == "" {
			name = "a service without number and name"
		}
		holds := append(append([]string{}, s.Video...), s.Audio...)
		if len(holds) == 0 {
			holds = []string{"no video or audio told of"}
		}
		out = append(out, fmt.Sprintf("  %s: %s", name, strings.Join(holds, ", ")))
	}
	if r.TransportID != nil {
		out = append(out, fmt.Sprintf("  transport stream 0x%04x", *r.TransportID))
	}
	if r.Clock != nil {
		line := "  its clock says " + *r.Clock
		switch a := r.ClockAheadS; {
		case a == nil:
		case math.Abs(*a) <= 1:
			line += ", right by this source's to a second"
		case *a > 0:
			line += fmt.Sprintf(", %.0f s ahead of this source's", *a)
		default:
			line += fmt.Sprintf(", %.0f s behind this source's", -*a)
		}
		out = append(out, line)
	}
	return out
}

// names lists the services in few words.
func (r *reportIdentity) names() string {
	var out []string
	for _, s := range r.Services {
		if name := strings.TrimSpace(word0(s.Number) + " " + word0(s.Name)); name != "" {
			out = append(out, name)
		}
	}
	if len(out) == 0 {
		return r.Label
	}
	return strings.Join(out, ", ")
}

func word0(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}
