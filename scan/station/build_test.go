package station

import (
	"encoding/binary"
	"unicode/utf16"
)

// The tables of the tests are put together by hand here, field by field in the
// order of the standards' syntax tables.

// fields appends values of given numbers of bits, the upper bit first.
type fields struct {
	bytes []byte
	bits  int
}

func (f *fields) put(value uint64, bits int) *fields {
	for i := bits - 1; i >= 0; i-- {
		if f.bits%8 == 0 {
			f.bytes = append(f.bytes, 0)
		}
		f.bytes[len(f.bytes)-1] |= byte(value>>i&1) << (7 - f.bits%8)
		f.bits++
	}
	return f
}

func (f *fields) raw(b []byte) *fields {
	for _, v := range b {
		f.put(uint64(v), 8)
	}
	return f
}

// longSection returns a section of the long form.
func longSection(id uint8, extension uint16, version, number, last uint8, body []byte) []byte {
	var f fields
	f.put(uint64(id), 8).put(0b1111, 4).put(uint64(5+len(body)+4), 12)
	f.put(uint64(extension), 16).put(0b11, 2).put(uint64(version), 5).put(1, 1)
	f.put(uint64(number), 8).put(uint64(last), 8).raw(body)
	return binary.BigEndian.AppendUint32(f.bytes, slowSum(f.bytes))
}

// slowSum is the sum of ISO/IEC 13818-1, annex A, bit by bit: a shift register of
// 32 ones.
func slowSum(b []byte) uint32 {
	register := ^uint32(0)
	for _, v := range b {
		for i := 7; i >= 0; i-- {
			out := register>>31 ^ uint32(v>>i&1)
			register <<= 1
			if out != 0 {
				register ^= 1<<26 | 1<<23 | 1<<22 | 1<<16 | 1<<12 | 1<<11 | 1<<10 | 1<<8 | 1<<7 | 1<<5 | 1<<4 | 1<<2 | 1<<1 | 1
			}
		}
	}
	return register
}

func patSection(id uint16, version uint8, programs ...Program) []byte {
	var f fields
	for _, p := range programs {
		f.put(uint64(p.Number), 16).put(0b111, 3).put(uint64(p.PID), 13)
	}
	return longSection(tablePAT, id, version, 0, 0, f.bytes)
}

func pmtSection(p Program, version uint8) []byte {
	var f fields
	f.put(0b111, 3).put(uint64(p.PCRPID), 13)
	f.put(0b1111, 4).put(6, 12).raw([]byte{0x05, 4, 'G', 'A', '9', '4'})
	for _, s := range p.Streams {
		f.put(uint64(s.Type), 8).put(0b111, 3).put(uint64(s.PID), 13)
		if s.Language == "" {
			f.put(0b1111, 4).put(3, 12).raw([]byte{0x52, 1, 7})
			continue
		}
		f.put(0b1111, 4).put(6, 12).raw([]byte{0x0a, 4}).raw([]byte(s.Language)).put(0, 8)
	}
	return longSection(tablePMT, p.Number, version, 0, 0, f.bytes)
}

func mgtSection(version uint8, tables ...Table) []byte {
	var f fields
	f.put(0, 8).put(uint64(len(tables)), 16)
	for _, t := range tables {
		f.put(uint64(t.Type), 16).put(0b111, 3).put(uint64(t.PID), 13)
		f.put(0b111, 3).put(uint64(t.Version), 5).put(uint64(t.Bytes), 32)
		f.put(0b1111, 4).put(2, 12).raw([]byte{0x80, 0})
	}
	f.put(0b1111, 4).put(0, 12)
	return longSection(tableMGT, 0, version, 0, 0, f.bytes)
}

func tvctSection(id uint16, version, number, last uint8, channels ...Channel) []byte {
	var f fields
	f.put(0, 8).put(uint64(len(channels)), 8)
	for _, c := range channels {
		f.raw(tvctChannel(c))
	}
	f.put(0b111111, 6).put(0, 10)
	return longSection(tableTVCT, id, version, number, last, f.bytes)
}

func tvctChannel(c Channel) []byte {
	bit := func(b bool) uint64 {
		if b {
			return 1
		}
		return 0
	}
	var f fields
	name := utf16.Encode([]rune(c.Name))
	for i := range 7 {
		if i < len(name) {
			f.put(uint64(name[i]), 16)
		} else {
			f.put(0, 16)
		}
	}
	f.put(0b1111, 4).put(uint64(c.Major), 10).put(uint64(c.Minor), 10)
	f.put(4, 8).put(0, 32) // modulation: 8-VSB; carrier frequency: not used
	f.put(uint64(c.TransportID), 16).put(uint64(c.Program), 16)
	f.put(0, 2).put(bit(c.AccessControlled), 1).put(bit(c.Hidden), 1).put(0b11, 2).put(0, 1).put(0b111, 3)
	f.put(uint64(c.Kind), 6).put(uint64(c.Source), 16)
	var d fields
	if len(c.Streams) > 0 {
		d.put(0xa1, 8).put(uint64(3+6*len(c.Streams)), 8)
		d.put(0b111, 3).put(0x1fff, 13).put(uint64(len(c.Streams)), 8)
		for _, s := range c.Streams {
			d.put(uint64(s.Type), 8).put(0b111, 3).put(uint64(s.PID), 13)
			d.raw(append([]byte(s.Language), 0, 0, 0)[:3])
		}
	}
	f.put(0b111111, 6).put(uint64(len(d.bytes)), 10).raw(d.bytes)
	return f.bytes
}

func sttSection(seconds uint32, leap uint8, daylight bool, day, hour int) []byte {
	var f fields
	f.put(0, 8).put(uint64(seconds), 32).put(uint64(leap), 8)
	if daylight {
		f.put(1, 1)
	} else {
		f.put(0, 1)
	}
	f.put(0b11, 2).put(uint64(day), 5).put(uint64(hour), 8)
	return longSection(tableSTT, 0, 0, 0, 0, f.bytes)
}

// packer cuts sections into packets.
type packer struct{ counters map[uint16]uint8 }

func newPacker() *packer { return &packer{map[uint16]uint8{}} }

// packets returns the packets of sections that follow each other without a gap. The
// first begins behind as many bytes of an earlier section as lead has.
func (k *packer) packets(pid uint16, lead []byte, sections ...[]byte) (packets [][]byte) {
	payload := append([]byte{byte(len(lead))}, lead...)
	begins := map[int]bool{} // where sections begin in the payload
	for _, s := range sections {
		begins[len(payload)] = true
		payload = append(payload, s...)
	}
	for at := 0; at < len(payload); {
		room := packetBytes - 4
		start := at == 0
		var pointer []byte
		for i := at; i < at+room-1 && !start; i++ {
			if begins[i] {
				start, pointer = true, []byte{byte(i - at)}
			}
		}
		p := []byte{0x47, byte(pid >> 8), byte(pid), 0x10 | k.counters[pid]}
		if start {
			p[1] |= 0x40
		}
		k.counters[pid] = (k.counters[pid] + 1) & 0xf
		p = append(p, pointer...)
		n := min(packetBytes-len(p), len(payload)-at)
		p = append(p, payload[at:at+n]...)
		at += n
		for len(p) < packetBytes {
			p = append(p, 0xff)
		}
		packets = append(packets, p)
	}
	return packets
}
