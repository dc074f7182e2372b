package station

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"
	"unicode/utf16"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// Sender is the transport stream of an invented station, made field by field of
// vsb and the same whenever a field is asked for: its tables come round as A/65
// asks, its video and audio packets carry PCR and PES headers as ISO/IEC 13818-1
// has them, MPEG-2 video shows a card with the service's name, and all else is
// random. It may be used by several goroutines.
type Sender struct {
	station Station
	seed    uint64
	start   time.Time // of field 0

	tables []sent           // all but the clock's
	shares []share          // in the order of their packets
	layout [perField]uint8  // index in shares, or noShare
	number [perField]uint16 // of the packet among those of its share in a field
}

const (
	perField = coding.FieldPackets

	roundFields = 40 // the clock is told once a round: 0.97 s
	noShare     = 0xff

	tableEvery   = 4  // fields between PATs, PMTs and MGTs: 97 ms
	channelEvery = 10 // and between TVCTs: 242 ms
	headerBytes  = 4

	// LeapSeconds is by how much GPS time has been ahead of UTC since 2017.
	LeapSeconds = 18
)

// sent is a table as it is sent: always the same, on its PID, in each field whose
// number modulo every is first.
type sent struct {
	pid          uint16
	every, first int
	section      []byte
	slots        []int // of its packets in a field
}

// share is what a stream has of each field.
type share struct {
	pid      uint16
	kind     StreamKind
	clock    bool // carries the program's PCR
	packets  int
	streamID byte

	// Of MPEG-2 video: what begins and what ends a field's part of the stream;
	// between them are user data.
	start, picture []byte
}

// NewSender returns a station's stream. Tables and Clock of the station are not
// used, nor are PCRPIDs: the clock is right, with field 0 at start, and a program's
// first stream carries its PCR. Programs have packets by what their streams are: equal parts
// for video, what is usual for audio.
func NewSender(s Station, seed uint64, start time.Time) (*Sender, error) {
	s.Programs = slices.Clone(s.Programs)
	for i := range s.Programs {
		if streams := s.Programs[i].Streams; len(streams) > 0 {
			s.Programs[i].PCRPID = streams[0].PID
		}
	}
	if err := checkSent(s); err != nil {
		return nil, fmt.Errorf("making a station's transport stream: %w", err)
	}
	t := &Sender{station: s, seed: seed, start: start}
	if err := t.makeTables(); err != nil {
		return nil, fmt.Errorf("making a station's transport stream: %w", err)
	}
	if err := t.makeLayout(); err != nil {
		return nil, fmt.Errorf("making a station's transport stream: %w", err)
	}
	return t, nil
}

// checkSent refuses what the tables cannot say.
func checkSent(s Station) error {
	if s.TransportID == nil {
		return errors.New("it has no transport stream identifier")
	}
	pids := map[uint16]bool{patPID: true, psipPID: true, nullPID: true}
	take := func(pid uint16) error {
		if pid > nullPID || pids[pid] {
			return fmt.Errorf("PID 0x%04x is taken, or none", pid)
		}
		pids[pid] = true
		return nil
	}
	for _, p := range s.Programs {
		if p.Number == 0 {
			return errors.New("program 0 is no program")
		}
		if err := take(p.PID); err != nil {
			return err
		}
		for _, x := range p.Streams {
			if err := take(x.PID); err != nil {
				return err
			}
			if x.Language != "" && (len(x.Language) != 3 || languageOf([]byte(x.Language)) == "") {
				return fmt.Errorf("%.20q is no language code of three letters", x.Language)
			}
		}
	}
	for _, c := range s.Channels {
		switch n := len(utf16.Encode([]rune(c.Name))); {
		case n > 7:
			return fmt.Errorf("the short name %.40q has %d characters: 7 are the most", c.Name, n)
		case c.Major < 1 || c.Major > 99 || c.Minor < 0 || c.Minor > 999:
			return fmt.Errorf("there is no channel %s", c.Number())
		}
	}
	return nil
}

func (t *Sender) makeTables() error {
	s := &t.station
	add := func(pid uint16, every, first int) func([]byte, error) error {
		return func(section []byte, err error) error {
			if err != nil {
				return err
			}
			t.tables = append(t.tables, sent{pid: pid, every: every, first: first, section: section})
			return nil
		}
	}
	const version = 1
	if err := add(patPID, tableEvery, 0)(writePAT(*s.TransportID, version, s.Programs)); err != nil {
		return err
	}
	for _, p := range s.Programs {
		if err := add(p.PID, tableEvery, 0)(writePMT(p, version)); err != nil {
			return err
		}
	}
	if len(s.Channels) == 0 {
		return nil
	}
	tvct, err := writeTVCT(*s.TransportID, version, s.Channels)
	if err != nil {
		return err
	}
	const currentTVCT = 0
	mgt, err := writeMGT(version, []Table{{Type: currentTVCT, PID: psipPID, Version: version, Bytes: uint32(len(tvct))}})
	if err := add(psipPID, tableEvery, 1)(mgt, err); err != nil {
		return err
	}
	if err := add(psipPID, channelEvery, 2)(tvct, nil); err != nil {
		return err
	}
	// Its section is made anew each time.
	return add(psipPID, roundFields, 3)(writeSTT(Clock{UTC: t.start, LeapSeconds: LeapSeconds}))
}

// packetsOf returns how many packets a section takes that begins one.
func packetsOf(section []byte) int {
	const room = packetBytes - headerBytes
	return (1 + len(section) + room - 1) / room
}

// Audio takes what an AC-3 stream of 384 kbit/s does, data a little.
const (
	audioPackets = 7
	dataPackets  = 1
	sparePackets = 12 // null packets, at least: stations leave some room
)

// makeLayout gives the field's packets to tables and streams.
func (t *Sender) makeLayout() error {
	var free []int // slots in order, but for the Playout's
	for i := range perField {
		if i != coding.EarlyPacket && i != coding.LatePacket {
			free = append(free, i)
		}
		t.layout[i] = noShare
	}
	for i := range t.tables {
		n := packetsOf(t.tables[i].section)
		if n > len(free)/2 {
			return errors.New("its tables do not fit into a field")
		}
		t.tables[i].slots, free = free[:n:n], free[n:]
	}
	left := len(free) - sparePackets
	var videos int
	for _, p := range t.station.Programs {
		for i, s := range p.Streams {
			h := share{pid: s.PID, kind: s.Kind(), clock: i == 0}
			switch h.kind {
			case Video:
				videos++
				h.streamID = 0xe0
			case Audio:
				h.packets, h.streamID = audioPackets, 0xbd // private stream 1, as AC-3 is carried
			default:
				h.packets = dataPackets
			}
			left -= h.packets
			t.shares = append(t.shares, h)
		}
	}
	if len(t.shares) >= noShare || left < videos {
		return fmt.Errorf("%d streams do not fit into a field", len(t.shares))
	}
	for i := range t.shares {
		if t.shares[i].kind == Video {
			t.shares[i].packets = left / videos
		}
	}
	t.spread(free)
	t.hangCards()
	return nil
}

// spread puts the streams' packets into slots, each as evenly as can be.
func (t *Sender) spread(slots []int) {
	owed := make([]int, len(t.shares))
	given := make([]int, len(t.shares))
	for _, slot := range slots {
		most := -1
		for i := range t.shares {
			owed[i] += t.shares[i].packets
			if given[i] < t.shares[i].packets && (most < 0 || owed[i] > owed[most]) {
				most = i
			}
		}
		if most < 0 || owed[most] < len(slots)/2 {
			continue
		}
		owed[most] -= len(slots)
		t.layout[slot], t.number[slot] = uint8(most), uint16(given[most])
		given[most]++
	}
	// What rounding left over.
	for i := range t.shares {
		t.shares[i].packets = given[i]
	}
}

// hangCards gives each stream of MPEG-2 video that has room for it a card.
func (t *Sender) hangCards() {
	const mpeg2 = 0x02
	names := map[uint16]string{}
	for _, c := range t.station.Channels {
		names[c.Program] = c.Name
	}
	types, owner := map[uint16]uint8{}, map[uint16]uint16{}
	for _, p := range t.station.Programs {
		for _, s := range p.Streams {
			types[s.PID], owner[s.PID] = s.Type, p.Number
		}
	}
	for i := range t.shares {
		h := &t.shares[i]
		if types[h.pid] != mpeg2 {
			continue
		}
		start, picture := sequenceStart(), newCard(names[owner[h.pid]], t.seed^uint64(h.pid)).picture()
		if len(start)+len(picture) < h.elementaryBytes() {
			h.start, h.picture = start, picture
		}
	}
}

// elementaryBytes is what a stream has of a field for itself.
func (h *share) elementaryBytes() int {
	n := h.packets*(packetBytes-headerBytes) - pesHeaderBytes
	if h.clock {
		n -= clockFieldBytes
	}
	return n
}

// ticks returns when a field begins, in periods of 27 MHz from field 0: those of
// vsb.FieldSymbols symbols at 4.5/286 × 684 MHz.
func ticks(field int64) int64 {
	const numerator, denominator = vsb.FieldSymbols * 286 * 6, 684
	q := field * numerator
	if q < 0 {
		q -= denominator - 1
	}
	return q / denominator
}

const tickRate = 27e6

// Time returns when a field begins.
func (t *Sender) Time(field int64) time.Time {
	n := ticks(field)
	return t.start.Add(time.Duration(n/tickRate)*time.Second + time.Duration(n%tickRate*1000/27))
}

// Packets writes a field's packets to dst, which has room for coding.FieldPackets of them. Those
// that a coding.Playout makes itself are null packets.
func (t *Sender) Packets(dst []byte, field int64) {
	for i := range perField {
		p := dst[i*packetBytes:][:packetBytes]
		if k := t.layout[i]; k != noShare {
			t.stream(p, &t.shares[k], int64(t.number[i]), field)
		} else {
			nullPacket(p)
		}
	}
	for i := range t.tables {
		t.table(dst, &t.tables[i], field)
	}
}

func nullPacket(p []byte) {
	copy(p, []byte{syncByte, nullPID >> 8, nullPID & 0xff, 0x10})
	for i := range p[headerBytes:] {
		p[headerBytes+i] = 0xff
	}
}

const syncByte = 0x47

func header(p []byte, pid uint16, start bool, counter int64) {
	p[0], p[1], p[2], p[3] = syncByte, byte(pid>>8), byte(pid), 0x10|byte(counter&0xf)
	if start {
		p[1] |= 0x40
	}
}

// stream makes packet n of a stream's in a field.
func (t *Sender) stream(p []byte, h *share, n, field int64) {
	count := field*int64(h.packets) + n
	begins := n == 0 && h.kind != Data
	header(p, h.pid, begins, count)
	payload := p[headerBytes:]
	if n == 0 && h.clock {
		p[3] |= 0x20
		payload = clockField(payload, ticks(field))
	}
	if begins {
		behind := h.packets*(packetBytes-headerBytes) - 6
		if h.kind == Video || behind > 0xffff {
			behind = 0 // video alone may leave it open
		}
		if h.clock {
			behind = max(0, behind-clockFieldBytes)
		}
		payload = pesHeader(payload, h.streamID, behind, ticks(field)/300+presentAfter)
	}
	at := 0 // of the payload in the field's part of the elementary stream
	if n > 0 {
		at = h.elementaryBytes() - int(int64(h.packets)-n)*(packetBytes-headerBytes)
	}
	defer h.overlay(payload, at)
	r := mix(t.seed ^ uint64(h.pid)<<48 ^ uint64(count))
	for len(payload) > 0 {
		r += golden
		// No byte is 0 or 0x0b, so that nothing looks like the beginning of a
		// picture or of a frame of sound.
		word := mix(r) | 0x1111111111111111
		if len(payload) < 8 {
			for i := range payload {
				payload[i] = byte(word >> (8 * i))
			}
			return
		}
		binary.LittleEndian.PutUint64(payload, word)
		payload = payload[8:]
	}
}

// overlay puts what begins and ends a field's part of a video stream over the random
// bytes.
func (h *share) overlay(payload []byte, at int) {
	if h.picture == nil {
		return
	}
	if at < len(h.start) {
		copy(payload, h.start[at:])
	}
	if from := h.elementaryBytes() - len(h.picture) - at; from < 0 {
		copy(payload, h.picture[-from:])
	} else if from < len(payload) {
		copy(payload[from:], h.picture)
	}
}

const (
	clockFieldBytes = 8
	pesHeaderBytes  = 14
	presentAfter    = 45000 // what comes now is shown half a second later, in periods of 90 kHz

	golden = 0x9e3779b97f4a7c15
)

// mix is a bijection of 64-bit words in which every bit of x moves every bit of the
// result.
func mix(x uint64) uint64 {
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// clockField writes an adaptation field with a PCR, and returns what is behind it.
// ISO/IEC 13818-1, 2.4.3.4.
func clockField(p []byte, ticks int64) []byte {
	const span = 300 << 33
	pcr := uint64((ticks%span + span) % span)
	var w bitWriter
	w.put(clockFieldBytes-1, 8)
	w.put(0x10, 8) // PCR_flag
	w.put(pcr/300, 33)
	w.put(0b111111, 6)
	w.put(pcr%300, 9)
	return p[copy(p, w.bytes):]
}

// pesHeader writes the header of a PES packet with a PTS, and returns what is behind
// it. ISO/IEC 13818-1, 2.4.3.6.
func pesHeader(p []byte, streamID byte, length int, pts int64) []byte {
	v := uint64(pts) & (1<<33 - 1)
	var w bitWriter
	w.put(1, 24)
	w.put(uint64(streamID), 8)
	w.put(uint64(length), 16)
	w.put(0x8480, 16) // data_alignment_indicator, PTS alone
	w.put(5, 8)
	w.put(0b0010, 4)
	w.put(v>>30, 3)
	w.put(1, 1)
	w.put(v>>15&0x7fff, 15)
	w.put(1, 1)
	w.put(v&0x7fff, 15)
	w.put(1, 1)
	return p[copy(p, w.bytes):]
}

// occurrences returns how many times a table was sent before a field, less what
// was before field 0.
func (s *sent) occurrences(field int64) int64 {
	n, every := field-int64(s.first), int64(s.every)
	q := n / every
	if n%every > 0 {
		q++
	}
	return q
}

func (s *sent) comes(field int64) bool { return (field-int64(s.first))%int64(s.every) == 0 }

// table makes the packets of a table, if it comes in a field.
func (t *Sender) table(dst []byte, s *sent, field int64) {
	if !s.comes(field) {
		return
	}
	// All tables on the PID share its counter.
	var count int64
	for i := range t.tables {
		o := &t.tables[i]
		if o.pid != s.pid {
			continue
		}
		count += o.occurrences(field) * int64(len(o.slots))
		if o.slots[0] < s.slots[0] && o.comes(field) {
			count += int64(len(o.slots))
		}
	}
	section := s.section
	if s.every == roundFields {
		section, _ = writeSTT(Clock{UTC: t.Time(field), LeapSeconds: LeapSeconds}) // in a Sender's life it can be shown
	}
	for i, slot := range s.slots {
		p := dst[slot*packetBytes:][:packetBytes]
		header(p, s.pid, i == 0, count+int64(i))
		payload := p[headerBytes:]
		if i == 0 {
			payload[0] = 0 // pointer_field
			payload = payload[1:]
		}
		n := copy(payload, section)
		section = section[n:]
		for k := range payload[n:] {
			payload[n+k] = 0xff
		}
	}
}
