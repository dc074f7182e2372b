package station

import (
	"errors"
	"fmt"
	"time"
)

// Reader reads a station's tables in its transport stream. It allocates only when
// they say something new, and its memory is bounded, whatever the stream says.
type Reader struct {
	counts Counts

	pat      table[[]Program]
	mgt      table[[]Table]
	tvct     table[[]Channel]
	clock    *Clock
	programs map[uint16]*programTable // by number, of those in the PAT

	pids map[uint16]*assembler
}

// programTable is the table of a program and where it comes.
type programTable struct {
	pid uint16
	table[Program]
}

// Counts are what a Reader has met.
type Counts struct {
	Packets  int64
	Errors   int64 // packets with transport_error_indicator
	Sections int64 // of the tables' PIDs, with the right sum
	Damaged  int64 // with a wrong one, or too short to have one
}

// maxPrograms is how many programs are followed. A channel's 19.39 Mbit/s hold
// some dozen.
const maxPrograms = 128

// packetBytes is the length of a transport packet.
const packetBytes = 188

// ErrPacket is returned for what is no transport packet.
var ErrPacket = errors.New("not a transport packet")

// NewReader returns a reader.
func NewReader() *Reader {
	return &Reader{
		programs: map[uint16]*programTable{},
		pids:     map[uint16]*assembler{patPID: {}, psipPID: {}},
	}
}

// Counts returns the counts so far.
func (r *Reader) Counts() Counts { return r.counts }

// Packet takes the next transport packet of 188 bytes. Packets that are marked as
// wrong lose the section they belong to; so do gaps. The error is ErrPacket for what
// does not begin with the sync byte or is not 188 bytes long.
func (r *Reader) Packet(p []byte) error {
	const (
		syncByte   = 0x47
		header     = 4
		errorBit   = 0x80
		startBit   = 0x40
		scrambled  = 0xc0
		adaptation = 0x20
		payloadBit = 0x10
	)
	if len(p) != packetBytes || p[0] != syncByte {
		return fmt.Errorf("reading packet %d: %w", r.counts.Packets+1, ErrPacket)
	}
	r.counts.Packets++
	pid := (uint16(p[1])<<8 | uint16(p[2])) & pidMask
	a := r.pids[pid]
	if p[1]&errorBit != 0 {
		// The PID may be wrong, too; if it is not, something is missing.
		r.counts.Errors++
		if a != nil {
			a.lose()
		}
		return nil
	}
	if a == nil || p[3]&scrambled != 0 || p[3]&payloadBit == 0 {
		return nil
	}
	payload := p[header:]
	if p[3]&adaptation != 0 {
		n := 1 + int(payload[0])
		if n > len(payload) {
			a.lose()
			return nil
		}
		payload = payload[n:]
	}
	a.packet(payload, p[1]&startBit != 0, p[3]&0xf, func(b []byte) { r.section(pid, b) })
	return nil
}

// section takes a section of a PID.
func (r *Reader) section(pid uint16, b []byte) {
	s, ok := parseSection(b)
	if !ok {
		if crc32(b) != 0 {
			r.counts.Damaged++
		}
		return
	}
	r.counts.Sections++
	switch {
	case pid == patPID && s.table == tablePAT:
		if r.pat.take(s, parsePAT) {
			r.follow()
		}
	case pid == psipPID && s.table == tableMGT:
		r.mgt.take(s, parseMGT)
	case pid == psipPID && s.table == tableTVCT:
		r.tvct.take(s, parseTVCT)
	case pid == psipPID && s.table == tableSTT:
		if c, ok := parseSTT(s.body); ok {
			c.Packet = r.counts.Packets
			r.clock = &c
		}
	case s.table == tablePMT && s.number == 0:
		if t := r.programs[s.extension]; t != nil && t.pid == pid {
			t.take(s, parsePMT)
		}
	}
}

// follow follows the PIDs of the program tables that the PAT lists now.
func (r *Reader) follow() {
	programs := map[uint16]*programTable{}
	pids := map[uint16]*assembler{patPID: r.pids[patPID], psipPID: r.pids[psipPID]}
	r.pat.each(func(listed []Program) {
		for _, p := range listed {
			if len(programs) == maxPrograms || programs[p.Number] != nil || p.PID == nullPID {
				continue
			}
			t := r.programs[p.Number]
			if t == nil || t.pid != p.PID {
				t = &programTable{pid: p.PID}
			}
			programs[p.Number] = t
			if pids[p.PID] == nil {
				pids[p.PID] = r.pids[p.PID]
			}
			if pids[p.PID] == nil {
				pids[p.PID] = &assembler{}
			}
		}
	})
	r.programs, r.pids = programs, pids
}

// Clock returns the time that the station told last, and in which packet; false when it
// has told none. Unlike Station it costs nothing.
func (r *Reader) Clock() (utc time.Time, packet int64, ok bool) {
	if r.clock == nil {
		return time.Time{}, 0, false
	}
	return r.clock.UTC, r.clock.Packet, true
}

// Station returns what has been read so far.
func (r *Reader) Station() Station {
	var s Station
	switch {
	case r.pat.known:
		id := r.pat.extension
		s.TransportID = &id
	case r.tvct.known:
		id := r.tvct.extension
		s.TransportID = &id
	}
	r.pat.each(func(programs []Program) {
		for _, p := range programs {
			t := r.programs[p.Number]
			if t == nil || t.pid != p.PID {
				continue
			}
			t.each(func(own Program) {
				p.PCRPID = own.PCRPID
				p.Streams = append([]Stream(nil), own.Streams...)
			})
			s.Programs = append(s.Programs, p)
		}
	})
	r.tvct.each(func(channels []Channel) {
		for _, c := range channels {
			c.Streams = append([]Stream(nil), c.Streams...)
			s.Channels = append(s.Channels, c)
		}
	})
	s.Complete = r.tvct.complete()
	r.mgt.each(func(tables []Table) { s.Tables = append(s.Tables, tables...) })
	if r.clock != nil {
		c := *r.clock
		s.Clock = &c
	}
	return s
}
