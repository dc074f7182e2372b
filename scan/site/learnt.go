package site

import (
	"errors"
	"fmt"
	"time"

	"rooftone/scan/internal/linefile"
)

// Learnt is who the station on a channel said it is, when it was received: what a
// radio that cannot receive may go by later. A later one of the same channel takes
// an earlier one's place as a whole.
type Learnt struct {
	Time        time.Time // when
	RFChannel   int
	TransportID *int // of its transport stream; nil when it did not say
	Services    []LearntService
	Program     string // name and version of what received
}

// LearntService is one of a station's services.
type LearntService struct {
	Number string   // as sets show it, such as 8.1; "" when the station did not say
	Name   string   // its short name
	Video  []string // the codings of its video, such as "MPEG-2 video"
	Audio  []string // those of its audio, each with its language where that is known
}

// Label is the station in few words: its first service's number and name, or its
// transport stream's identifier.
func (l Learnt) Label() string {
	for _, s := range l.Services {
		switch {
		case s.Number != "" && s.Name != "":
			return s.Number + " " + s.Name
		case s.Number+s.Name != "":
			return s.Number + s.Name
		}
	}
	if l.TransportID != nil {
		return fmt.Sprintf("stream 0x%04x", *l.TransportID)
	}
	return ""
}

const (
	maxServices = 128
	maxKinds    = 32
)

type learntLine struct {
	Kind        string        `json:"kind"`
	Time        string        `json:"time"`
	RFChannel   int           `json:"rf_channel"`
	TransportID *int          `json:"transport_id,omitempty"`
	Services    []serviceLine `json:"services"`
	Program     string        `json:"program,omitempty"`
}

type serviceLine struct {
	Number string   `json:"number,omitempty"`
	Name   string   `json:"name,omitempty"`
	Video  []string `json:"video,omitempty"`
	Audio  []string `json:"audio,omitempty"`
}

func (l Learnt) line() (any, error) {
	if err := checkRF(l.RFChannel); err != nil {
		return nil, err
	}
	if l.Time.IsZero() {
		return nil, errors.New("what was learnt of a station without its time")
	}
	out := learntLine{
		Kind: "learnt", Time: stamp(l.Time), RFChannel: l.RFChannel, TransportID: l.TransportID,
		Program: linefile.Printable(l.Program, maxName), Services: []serviceLine{},
	}
	for i, s := range l.Services {
		if i == maxServices {
			break
		}
		// What comes over the air is shown, but not trusted.
		out.Services = append(out.Services, serviceLine{
			Number: linefile.Printable(s.Number, maxName), Name: linefile.Printable(s.Name, maxName),
			Video: printables(s.Video), Audio: printables(s.Audio),
		})
	}
	return out, nil
}

func printables(list []string) (out []string) {
	for i, s := range list {
		if i == maxKinds {
			break
		}
		out = append(out, linefile.Printable(s, maxName))
	}
	return out
}

func (d *decoder) learnt(l learntLine) error {
	if err := checkRF(l.RFChannel); err != nil {
		return err
	}
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil {
		return errors.New("its time is not RFC 3339")
	}
	if id := l.TransportID; id != nil && (*id < 0 || *id > 0xffff) {
		return errors.New("its transport_id is not from 0 to 65535")
	}
	if len(l.Services) > maxServices {
		return fmt.Errorf("it has more than %d services", maxServices)
	}
	out := Learnt{Time: at, RFChannel: l.RFChannel, TransportID: l.TransportID, Program: linefile.Printable(l.Program, maxName)}
	for _, s := range l.Services {
		out.Services = append(out.Services, LearntService{
			Number: linefile.Printable(s.Number, maxName), Name: linefile.Printable(s.Name, maxName),
			Video: printables(s.Video), Audio: printables(s.Audio),
		})
	}
	if d.known == nil {
		d.known = map[int]Learnt{}
	}
	d.known[out.RFChannel] = out
	return nil
}
