package sim

import (
	"fmt"
	"time"
	"unicode/utf16"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb/coding"
	onair "rooftone/scan/station"
)

// Programme is one of the services in an 8-VSB station's transport stream.
type Programme struct {
	Name  string   `toml:"name"`  // as sets show it, up to seven characters
	Video string   `toml:"video"` // "mpeg2", the usual one, "h264" or "none"
	Audio []string `toml:"audio"` // languages of its AC-3 streams, three letters each
}

const maxProgrammes = 12 // what a transport stream has room for, with some picture in each

// minorStart is the minor number of the first service.
const minorStart = 1

// validateProgrammes says what is wrong with what a station sends.
func (s *Station) validateProgrammes() error {
	if s.Standard == "atsc3" {
		if s.ShownChannel != 0 || s.TransportID != 0 || len(s.Programmes) > 0 {
			return fmt.Errorf("shown_channel, transport_id and programmes belong to standard atsc1")
		}
		return nil
	}
	err := check(limit{"shown_channel", float64(s.ShownChannel), 0, 99}, limit{"transport_id", float64(s.TransportID), 0, 0xffff})
	if err != nil {
		return err
	}
	if len(s.Programmes) > maxProgrammes {
		return fmt.Errorf("%d programmes: at most %d are sent", len(s.Programmes), maxProgrammes)
	}
	for i, p := range s.Programmes {
		if _, ok := videoTypes[p.Video]; !ok {
			return fmt.Errorf("programme %d: video = %.40q must be mpeg2, h264 or none", i+1, p.Video)
		}
		if len(p.Audio) > maxProgrammes {
			return fmt.Errorf("programme %d: %d audio streams: at most %d are sent", i+1, len(p.Audio), maxProgrammes)
		}
	}
	_, err = onair.NewSender(s.sends(), 0, time.Unix(0, 0).AddDate(30, 0, 0))
	return err
}

// videoTypes are the stream types of what a Programme's Video may be; 0 is none.
var videoTypes = map[string]uint8{"": 0x02, "mpeg2": 0x02, "h264": 0x1b, "none": 0}

// sends returns what a station's tables say. What its town leaves open is made up
// from its call sign and RF channel.
func (s *Station) sends() onair.Station {
	const audioType = 0x81 // AC-3
	id := uint16(s.TransportID)
	if id == 0 {
		id = uint16(0x7000 + s.RFChannel)
	}
	major := s.ShownChannel
	if major == 0 {
		major = 40 + s.RFChannel%20
	}
	programmes := s.Programmes
	if len(programmes) == 0 {
		name := s.Call
		if n := len(utf16.Encode([]rune(name))); n == 0 || n > 7 {
			name = fmt.Sprintf("RF%d", s.RFChannel)
		}
		programmes = []Programme{{Name: name, Audio: []string{"eng"}}}
	}
	out := onair.Station{TransportID: &id}
	for i, p := range programmes {
		base := uint16(0x30 + 0x10*i)
		program := onair.Program{Number: uint16(3 + i), PID: base}
		kind := onair.AudioOnly
		if t := videoTypes[p.Video]; t != 0 {
			kind = onair.DigitalTV
			program.Streams = append(program.Streams, onair.Stream{PID: base + 1, Type: t})
		}
		for k, language := range p.Audio {
			program.Streams = append(program.Streams, onair.Stream{PID: base + 2 + uint16(k), Type: audioType, Language: language})
		}
		out.Programs = append(out.Programs, program)
		out.Channels = append(out.Channels, onair.Channel{
			Major: major, Minor: minorStart + i, Name: p.Name, TransportID: id, Program: program.Number,
			Source: uint16(1 + i), Kind: kind, Streams: program.Streams,
		})
	}
	return out
}

// airing returns a station's symbols. Its clock is right: symbol 0 is sent at start.
func (s *Station) airing(playout *coding.Playout, seed uint64, start time.Time) (*coding.Airing, error) {
	sender, err := onair.NewSender(s.sends(), air.Seed(seed, 4), start)
	if err != nil {
		return nil, err
	}
	return playout.Airing(sender.Packets), nil
}

// Airing returns what a station sends: the strongest one on the channel, nil where
// there is none of 8-VSB.
func (t *Tuner) Airing(rfChannel int) *coding.Airing {
	var best *coding.Airing
	level := 0.0
	for _, s := range t.stations {
		a, ok := s.sends.(atsc1)
		if ok && s.RFChannel == rfChannel && (best == nil || s.levelDBm() > level) {
			best, level = a.Airing, s.levelDBm()
		}
	}
	return best
}
