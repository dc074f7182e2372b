package station

import "encoding/binary"

// maxSection is the longest section with its header: a private one. ISO/IEC
// 13818-1, 2.4.4.11.
const maxSection = 4096

// sectionHeader is the length of the header of sections with the long form, and
// crcBytes that of the sum at the end.
const (
	sectionHeader = 8
	crcBytes      = 4
)

// assembler joins one PID's packets to sections.
type assembler struct {
	buffer  [maxSection]byte
	have    int  // of the section under way
	running bool // a section's beginning was seen, and nothing lost since
	counter uint8
	counted bool // a packet with a counter came before
}

// packet takes the payload of the PID's next packet and calls found for each
// section that ends in it. The section is valid during the call only.
func (a *assembler) packet(payload []byte, start bool, counter uint8, found func([]byte)) {
	if a.counted {
		if counter == a.counter {
			return // sent twice, as packets may be
		}
		if counter != (a.counter+1)&0xf {
			a.running = false
		}
	}
	a.counter, a.counted = counter, true
	if !start {
		a.feed(payload, found)
		return
	}
	if len(payload) == 0 || 1+int(payload[0]) > len(payload) {
		a.running = false
		return
	}
	pointer := int(payload[0])
	a.feed(payload[1:1+pointer], found)
	a.running, a.have = true, 0
	a.feed(payload[1+pointer:], found)
}

// lose drops the section under way, for a packet of it is unreadable.
func (a *assembler) lose() { a.running, a.counted = false, false }

// feed appends to the section under way. Behind a section there is the next one
// or stuffing.
func (a *assembler) feed(b []byte, found func([]byte)) {
	for a.running && len(b) > 0 {
		if a.have == 0 && b[0] == 0xff {
			a.running = false // stuffing up to the packet's end
			return
		}
		n := copy(a.buffer[a.have:a.length()], b)
		a.have += n
		b = b[n:]
		switch length := a.length(); {
		case length > maxSection:
			a.running = false
		case a.have == length:
			found(a.buffer[:length])
			a.have = 0
		}
	}
}

// length returns the length of the section under way, or of what is needed to
// know it.
func (a *assembler) length() int {
	const prefix = 3
	if a.have < prefix {
		return prefix
	}
	return prefix + int(binary.BigEndian.Uint16(a.buffer[1:])&0xfff)
}

// section is a section of the long form whose sum is right.
type section struct {
	table     uint8
	extension uint16 // transport_stream_id, program_number …
	version   uint8
	number    uint8
	last      uint8
	body      []byte // between header and sum
	sum       uint32
}

// parseSection returns false for a section that is damaged, of the short form or
// not yet in effect.
func parseSection(b []byte) (section, bool) {
	const syntax, current = 0x80, 1
	if len(b) < sectionHeader+crcBytes || b[1]&syntax == 0 || crc32(b) != 0 {
		return section{}, false
	}
	s := section{
		table:     b[0],
		extension: binary.BigEndian.Uint16(b[3:]),
		version:   b[5] >> 1 & 0x1f,
		number:    b[6],
		last:      b[7],
		body:      b[sectionHeader : len(b)-crcBytes],
		sum:       binary.BigEndian.Uint32(b[len(b)-crcBytes:]),
	}
	return s, b[5]&current != 0 && s.number <= s.last
}

// crcTable is of the polynomial 0x04c11db7, the upper bit first.
var crcTable = func() (t [256]uint32) {
	for i := range t {
		v := uint32(i) << 24
		for range 8 {
			carry := v >> 31
			v = v<<1 ^ carry*0x04c11db7
		}
		t[i] = v
	}
	return t
}()

// crc32 returns the sum of ISO/IEC 13818-1, annex A. It is 0 over a section with its
// sum.
func crc32(b []byte) uint32 {
	v := ^uint32(0)
	for _, c := range b {
		v = v<<8 ^ crcTable[byte(v>>24)^c]
	}
	return v
}
