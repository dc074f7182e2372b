package station

import (
	"encoding/binary"
	"strings"
	"time"
	"unicode"
	"unicode/utf16"
)

// Tables of A/65, section 6, all on one PID.
const (
	psipPID = 0x1ffb

	tableMGT  = 0xc7
	tableTVCT = 0xc8
	tableSTT  = 0xcd
)

// parseMGT returns the tables that the master guide table lists. A/65, 6.2.
func parseMGT(b []byte) ([]Table, bool) {
	const header, entry = 3, 9
	if len(b) < header || b[0] != 0 { // protocol_version
		return nil, false
	}
	count := int(binary.BigEndian.Uint16(b[1:]))
	b = b[header:]
	var tables []Table
	for range count {
		if len(b) < entry+2 {
			return nil, false
		}
		tables = append(tables, Table{
			Type:    binary.BigEndian.Uint16(b),
			PID:     binary.BigEndian.Uint16(b[2:]) & pidMask,
			Version: b[4] & 0x1f,
			Bytes:   binary.BigEndian.Uint32(b[5:]),
		})
		var ok bool
		if _, b, ok = sized(b[entry:]); !ok {
			return nil, false
		}
	}
	return tables, true
}

// parseTVCT returns the channels of a section of the terrestrial virtual channel
// table. A/65, 6.3.1.
func parseTVCT(b []byte) ([]Channel, bool) {
	const header, entry, nameUnits = 2, 30, 7
	if len(b) < header || b[0] != 0 { // protocol_version
		return nil, false
	}
	count := int(b[1])
	b = b[header:]
	var channels []Channel
	for range count {
		if len(b) < entry+2 {
			return nil, false
		}
		n := b[2*nameUnits:]
		numbers := binary.BigEndian.Uint32(n) // 4 reserved bits, 10 and 10 of the numbers, 8 of the modulation
		flags := binary.BigEndian.Uint16(n[12:])
		c := Channel{
			Name:             shortName(b[:2*nameUnits]),
			Major:            int(numbers >> 18 & 0x3ff),
			Minor:            int(numbers >> 8 & 0x3ff),
			TransportID:      binary.BigEndian.Uint16(n[8:]),
			Program:          binary.BigEndian.Uint16(n[10:]),
			AccessControlled: flags>>13&1 != 0,
			Hidden:           flags>>12&1 != 0,
			Kind:             ServiceKind(flags & 0x3f),
			Source:           binary.BigEndian.Uint16(n[14:]),
		}
		descriptors, rest, ok := sizedTen(b[entry:])
		if !ok {
			return nil, false
		}
		eachDescriptor(descriptors, func(tag uint8, d []byte) {
			const serviceLocation = 0xa1
			if tag == serviceLocation {
				c.Streams = serviceStreams(d)
			}
		})
		channels = append(channels, c)
		b = rest
	}
	return channels, true
}

// sizedTen is like sized, with ten bits of length below six reserved ones.
func sizedTen(b []byte) (inside, rest []byte, ok bool) {
	if len(b) < 2 {
		return nil, nil, false
	}
	n := int(binary.BigEndian.Uint16(b) & 0x3ff)
	if 2+n > len(b) {
		return nil, nil, false
	}
	return b[2 : 2+n], b[2+n:], true
}

// serviceStreams returns the streams of a service location descriptor of A/65.
func serviceStreams(d []byte) []Stream {
	const header, entry = 3, 6
	if len(d) < header {
		return nil
	}
	count := int(d[2])
	d = d[header:]
	var streams []Stream
	for ; count > 0 && len(d) >= entry; count-- {
		streams = append(streams, Stream{
			Type:     d[0],
			PID:      binary.BigEndian.Uint16(d[1:]) & pidMask,
			Language: languageOf(d[3:]),
		})
		d = d[entry:]
	}
	return streams
}

// shortName returns a name in UTF-16, padded with zeros, as text that is safe to
// show.
func shortName(b []byte) string {
	var units []uint16
	for ; len(b) >= 2; b = b[2:] {
		u := binary.BigEndian.Uint16(b)
		if u == 0 {
			break
		}
		units = append(units, u)
	}
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, string(utf16.Decode(units))))
}

// gpsEpoch is where GPS time begins; it has no leap seconds.
var gpsEpoch = time.Date(1980, time.January, 6, 0, 0, 0, 0, time.UTC)

// parseSTT returns the time of a system time table. A/65, 6.1 and annex A.
func parseSTT(b []byte) (Clock, bool) {
	const size = 8
	if len(b) < size || b[0] != 0 { // protocol_version
		return Clock{}, false
	}
	seconds := int64(binary.BigEndian.Uint32(b[1:]))
	leap := int(b[5])
	return Clock{
		UTC:         gpsEpoch.Add(time.Duration(seconds-int64(leap)) * time.Second),
		LeapSeconds: leap,
		Daylight:    b[6]&0x80 != 0,
		ChangeDay:   int(b[6] & 0x1f),
		ChangeHour:  int(b[7]),
	}, true
}
