package station

import "encoding/binary"

// Tables of ISO/IEC 13818-1, 2.4.4.
const (
	patPID  = 0
	nullPID = 0x1fff

	tablePAT = 0x00
	tablePMT = 0x02
)

const pidMask = 0x1fff

// parsePAT returns the programs that a section of the program association table
// lists. Program 0, which is no program, is left out.
func parsePAT(b []byte) ([]Program, bool) {
	const entry = 4
	if len(b)%entry != 0 {
		return nil, false
	}
	var programs []Program
	for ; len(b) > 0; b = b[entry:] {
		p := Program{
			Number: binary.BigEndian.Uint16(b),
			PID:    binary.BigEndian.Uint16(b[2:]) & pidMask,
		}
		if p.Number != 0 {
			programs = append(programs, p)
		}
	}
	return programs, true
}

// parsePMT returns what a section of the program map table says.
func parsePMT(b []byte) (Program, bool) {
	const header, entry = 4, 5
	if len(b) < header {
		return Program{}, false
	}
	p := Program{PCRPID: binary.BigEndian.Uint16(b) & pidMask}
	_, b, ok := sized(b[2:])
	for ok && len(b) > 0 {
		if len(b) < entry {
			return Program{}, false
		}
		s := Stream{Type: b[0], PID: binary.BigEndian.Uint16(b[1:]) & pidMask}
		var descriptors []byte
		if descriptors, b, ok = sized(b[3:]); !ok {
			break
		}
		eachDescriptor(descriptors, func(tag uint8, d []byte) {
			const language = 0x0a // ISO_639_language_descriptor
			if tag == language && len(d) >= 3 && s.Language == "" {
				s.Language = languageOf(d)
			}
		})
		p.Streams = append(p.Streams, s)
	}
	return p, ok
}

// sized splits off what a length of twelve bits, below four reserved ones, stands
// before.
func sized(b []byte) (inside, rest []byte, ok bool) {
	if len(b) < 2 {
		return nil, nil, false
	}
	n := int(binary.BigEndian.Uint16(b) & 0xfff)
	if 2+n > len(b) {
		return nil, nil, false
	}
	return b[2 : 2+n], b[2+n:], true
}

// eachDescriptor calls f with each whole descriptor.
func eachDescriptor(b []byte, f func(tag uint8, d []byte)) {
	for len(b) >= 2 {
		n := int(b[1])
		if 2+n > len(b) {
			return
		}
		f(b[0], b[2:2+n])
		b = b[2+n:]
	}
}

// languageOf returns a language code of three letters, or "" if it is none.
func languageOf(b []byte) string {
	for _, c := range b[:3] {
		if (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') {
			return ""
		}
	}
	return string(b[:3])
}
