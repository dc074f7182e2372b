package receive

import (
	"fmt"
	"time"

	"rooftone/scan/station"
)

// Identity is who a station says it is.
type Identity struct {
	station.Station

	// ClockAheadS is by how many seconds the station's clock is ahead of the
	// source's, with an uncertainty of a second; nil when one of them is not known.
	ClockAheadS *float64

	// Received is when, by the source's clock; zero when unknown.
	Received time.Time
}

// Identity returns who the station says it is; nil when it has not said anything.
func (r *Reception) Identity() *Identity {
	s := r.reader.Station()
	if s.TransportID == nil {
		return nil
	}
	return &Identity{Station: s, ClockAheadS: r.clockOff, Received: r.started}
}

// Known reports whether all that is asked for has been told: the channels, what each
// of their programs holds, and the clock.
func (i *Identity) Known() bool {
	if i == nil || !i.Complete || i.Clock == nil {
		return false
	}
	for _, s := range i.Services() {
		if len(s.Streams) == 0 && s.Kind != station.DataOnly {
			return false
		}
	}
	return true
}

// Label is the station in few words: the number and name of its first channel that
// sets show, or its transport stream's identifier.
func (i *Identity) Label() string {
	for _, c := range i.Channels {
		if !c.Hidden {
			if c.Name == "" {
				return c.Number()
			}
			return c.Number() + " " + c.Name
		}
	}
	return fmt.Sprintf("stream 0x%04x", *i.TransportID)
}
