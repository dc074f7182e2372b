// Package station reads in a transport stream whose it is: the channel number and
// name that a television shows, the services, their video and audio, and the
// station's clock.
//
// It reads the program tables of ISO/IEC 13818-1 (PAT and PMT) and the tables of
// ATSC A/65, Program and System Information Protocol (MGT, TVCT and STT), which
// come round several times a second.
package station

import (
	"fmt"
	"time"
)

// Station is what a transport stream has told so far. What it has not told is
// absent: nil.
type Station struct {
	// TransportID is the transport stream's identifier, which the
	// authorities give to each station.
	TransportID *uint16

	// Channels are the virtual channels, in the order of their table, which
	// Complete says has come as a whole.
	Channels []Channel
	Complete bool

	// Programs are the programs in the order of their table. A program whose
	// own table has not come has no streams.
	Programs []Program

	// Tables are the tables that the station says it sends.
	Tables []Table

	Clock *Clock
}

// Channel is a virtual channel. A/65, 6.3.1.
type Channel struct {
	Major, Minor int

	// Name is the short name of up to seven characters. Characters that
	// cannot be shown are replaced by U+FFFD.
	Name string

	TransportID uint16 // of the stream that carries it
	Program     uint16 // its program there; 0 when it is off, 0xffff for an analog one
	Source      uint16
	Kind        ServiceKind

	Hidden           bool // not to be shown to viewers
	AccessControlled bool

	// Streams are what the channel's descriptor tells of its streams. The
	// program's own table says more and wins.
	Streams []Stream
}

// Number returns the number as a television shows it: 12.1.
func (c Channel) Number() string { return fmt.Sprintf("%d.%d", c.Major, c.Minor) }

// ServiceKind is what a virtual channel carries, the service_type of A/65.
type ServiceKind uint8

const (
	AnalogTV  ServiceKind = 1
	DigitalTV ServiceKind = 2
	AudioOnly ServiceKind = 3
	DataOnly  ServiceKind = 4
)

// String returns the kind in words.
func (k ServiceKind) String() string {
	switch k {
	case AnalogTV:
		return "analog television"
	case DigitalTV:
		return "television"
	case AudioOnly:
		return "audio"
	case DataOnly:
		return "data"
	}
	return fmt.Sprintf("service kind %d", uint8(k))
}

// Program is a program of the transport stream. ISO/IEC 13818-1, 2.4.4.
type Program struct {
	Number  uint16
	PID     uint16 // of its own table
	PCRPID  uint16 // of its clock reference
	Streams []Stream
}

// Stream is one of a program's streams.
type Stream struct {
	PID      uint16
	Type     uint8  // stream_type
	Language string // three letters, "" when not told
}

// Table is a table that the station says it sends. A/65, 6.2.
type Table struct {
	Type    uint16 // table_type: 0 the current TVCT, 0x0100 to 0x017f event information …
	PID     uint16
	Version uint8
	Bytes   uint32
}

// Clock is the station's clock. A/65, 6.1.
type Clock struct {
	// UTC is the time that the station told in the packet number Packet,
	// counted from 1. Stations are allowed to be wrong by a second.
	UTC    time.Time
	Packet int64

	// LeapSeconds is by how much GPS time is ahead of UTC.
	LeapSeconds int

	// Daylight tells that daylight saving time is in effect. If it changes
	// within a month, it does so on the ChangeDay of the month, at the hour
	// ChangeHour of local time; otherwise both are 0.
	Daylight              bool
	ChangeDay, ChangeHour int
}

// Services returns the channels, each with the streams that its program's table
// tells of. A station without a channel table has its programs as channels
// without number and name.
func (s Station) Services() []Channel {
	streams := map[uint16][]Stream{}
	for _, p := range s.Programs {
		streams[p.Number] = p.Streams
	}
	var services []Channel
	for _, c := range s.Channels {
		here := s.TransportID == nil || *s.TransportID == c.TransportID
		if own := streams[c.Program]; here && len(own) > 0 {
			c.Streams = own
		}
		services = append(services, c)
	}
	if services == nil {
		for _, p := range s.Programs {
			c := Channel{Program: p.Number, Streams: p.Streams}
			if s.TransportID != nil {
				c.TransportID = *s.TransportID
			}
			services = append(services, c)
		}
	}
	return services
}
