package station

import (
	"encoding/binary"
	"fmt"
	"time"
	"unicode/utf16"
)

// What follows writes the tables that Reader reads.

// bitWriter appends numbers of given widths, the upper bit first.
type bitWriter struct {
	bytes []byte
	free  int // bits of the last byte that are not written yet
}

func (w *bitWriter) put(value uint64, width int) {
	for width > 0 {
		if w.free == 0 {
			w.bytes, w.free = append(w.bytes, 0), 8
		}
		n := min(width, w.free)
		width -= n
		w.free -= n
		w.bytes[len(w.bytes)-1] |= byte(value>>width&(1<<n-1)) << w.free
	}
}

func (w *bitWriter) flag(b bool) {
	if b {
		w.put(1, 1)
	} else {
		w.put(0, 1)
	}
}

// writeSection writes a section of the long form, the only one of its table. private is
// the bit behind section_syntax_indicator, which the tables of A/65 set.
func writeSection(id uint8, private bool, extension uint16, version uint8, body []byte) ([]byte, error) {
	const most = 1021 // bytes behind section_length
	length := 5 + len(body) + crcBytes
	if length > most {
		return nil, fmt.Errorf("table 0x%02x would have a section of %d bytes: at most %d fit into one", id, length, most)
	}
	var w bitWriter
	w.put(uint64(id), 8)
	w.put(1, 1)
	w.flag(private)
	w.put(0b11, 2)
	w.put(uint64(length), 12)
	w.put(uint64(extension), 16)
	w.put(0b11, 2)
	w.put(uint64(version&0x1f), 5)
	w.put(1, 1)  // current_next_indicator
	w.put(0, 16) // section_number and last_section_number
	w.bytes = append(w.bytes, body...)
	return binary.BigEndian.AppendUint32(w.bytes, crc32(w.bytes)), nil
}

// writePAT writes the program association table. ISO/IEC 13818-1, 2.4.4.3.
func writePAT(id uint16, version uint8, programs []Program) ([]byte, error) {
	var w bitWriter
	for _, p := range programs {
		w.put(uint64(p.Number), 16)
		w.put(0b111, 3)
		w.put(uint64(p.PID), 13)
	}
	return writeSection(tablePAT, false, id, version, w.bytes)
}

// writePMT writes a program map table. ISO/IEC 13818-1, 2.4.4.8.
func writePMT(p Program, version uint8) ([]byte, error) {
	var w bitWriter
	w.put(0b111, 3)
	w.put(uint64(p.PCRPID), 13)
	w.put(0b1111<<12, 16) // no descriptors of the program
	for _, s := range p.Streams {
		w.put(uint64(s.Type), 8)
		w.put(0b111, 3)
		w.put(uint64(s.PID), 13)
		if s.Language == "" {
			w.put(0b1111<<12, 16)
			continue
		}
		const languageTag = 0x0a
		w.put(0b1111<<12|6, 16)
		w.put(languageTag<<8|4, 16)
		w.bytes = append(w.bytes, s.Language...)
		w.put(0, 8) // audio_type: undefined
	}
	return writeSection(tablePMT, false, p.Number, version, w.bytes)
}

// writeMGT writes the master guide table. A/65, 6.2.
func writeMGT(version uint8, tables []Table) ([]byte, error) {
	var w bitWriter
	w.put(0, 8) // protocol_version
	w.put(uint64(len(tables)), 16)
	for _, t := range tables {
		w.put(uint64(t.Type), 16)
		w.put(0b111, 3)
		w.put(uint64(t.PID), 13)
		w.put(0b111, 3)
		w.put(uint64(t.Version), 5)
		w.put(uint64(t.Bytes), 32)
		w.put(0b1111<<12, 16)
	}
	w.put(0b1111<<12, 16)
	return writeSection(tableMGT, true, 0, version, w.bytes)
}

// writeTVCT writes the terrestrial virtual channel table. A/65, 6.3.1.
func writeTVCT(id uint16, version uint8, channels []Channel) ([]byte, error) {
	var w bitWriter
	w.put(0, 8) // protocol_version
	w.put(uint64(len(channels)), 8)
	for _, c := range channels {
		writeChannel(&w, c)
	}
	w.put(0b111111<<10, 16) // no additional descriptors
	return writeSection(tableTVCT, true, id, version, w.bytes)
}

func writeChannel(w *bitWriter, c Channel) {
	const (
		nameUnits       = 7
		modulation8VSB  = 4
		serviceLocation = 0xa1
	)
	var name [nameUnits]uint16
	copy(name[:], utf16.Encode([]rune(c.Name)))
	for _, u := range name {
		w.put(uint64(u), 16)
	}
	w.put(0b1111, 4)
	w.put(uint64(c.Major), 10)
	w.put(uint64(c.Minor), 10)
	w.put(modulation8VSB, 8)
	w.put(0, 32) // carrier_frequency, deprecated
	w.put(uint64(c.TransportID), 16)
	w.put(uint64(c.Program), 16)
	w.put(0, 2) // ETM_location: no texts
	w.flag(c.AccessControlled)
	w.flag(c.Hidden)
	w.put(0b11, 2)
	w.put(0, 1) // hide_guide
	w.put(0b111, 3)
	w.put(uint64(c.Kind), 6)
	w.put(uint64(c.Source), 16)
	if len(c.Streams) == 0 {
		w.put(0b111111<<10, 16)
		return
	}
	length := 3 + 6*len(c.Streams)
	w.put(0b111111<<10|uint64(2+length), 16)
	w.put(serviceLocation<<8|uint64(length), 16)
	w.put(0b111<<13|uint64(c.Streams[0].PID), 16) // PCR_PID: the first stream carries it
	w.put(uint64(len(c.Streams)), 8)
	for _, s := range c.Streams {
		w.put(uint64(s.Type), 8)
		w.put(0b111, 3)
		w.put(uint64(s.PID), 13)
		w.bytes = append(w.bytes, append([]byte(s.Language), 0, 0, 0)[:3]...)
	}
}

// writeSTT writes the system time table. A/65, 6.1.
func writeSTT(c Clock) ([]byte, error) {
	seconds := int64(c.UTC.Sub(gpsEpoch)/time.Second) + int64(c.LeapSeconds)
	if seconds < 0 || seconds >= 1<<32 {
		return nil, fmt.Errorf("a station's clock cannot show %v", c.UTC)
	}
	var w bitWriter
	w.put(0, 8) // protocol_version
	w.put(uint64(seconds), 32)
	w.put(uint64(c.LeapSeconds), 8)
	w.flag(c.Daylight)
	w.put(0b11, 2)
	w.put(uint64(c.ChangeDay), 5)
	w.put(uint64(c.ChangeHour), 8)
	return writeSection(tableSTT, true, 0, 0, w.bytes)
}
