package coding

import (
	"fmt"

	"rooftone/dsp/vsb"
)

// Encoder makes symbols of transport packets, field after field. The
// interleaver and the trellis coders go on from one field to the next, so a
// packet's last byte is sent DelaySegments after its segment.
type Encoder struct {
	randomiser *Randomiser
	parity     *ReedSolomon
	interleave Interleaver
	trellises  [coders]TrellisEncoder
	coded      [fieldBytes]byte

	even  bool // the field that comes next
	syncs [2][vsb.SegmentSymbols]float32
	last  [coders]float32 // the last symbols of the field before
}

// NewEncoder returns an encoder whose first field is an odd one, with zeros in
// the interleaver and the trellis coders.
func NewEncoder() *Encoder {
	e := &Encoder{randomiser: NewRandomiser(), parity: NewReedSolomon()}
	for i := range e.syncs {
		e.syncs[i] = syncSegment(i == 0)
	}
	for i := range e.last {
		e.last[i] = Level(0)
	}
	return e
}

// syncSegment returns a field-sync segment. The reserved symbols go on with the
// sequence PN63, as A/53 Part 2 suggests; the precode symbols are still missing.
func syncSegment(odd bool) [vsb.SegmentSymbols]float32 {
	const pn63Start, pn63Length = vsb.SegmentSyncSymbols + 511, 63
	s, _ := vsb.FieldSync(odd)
	for i := range s[vsb.KnownSymbols:] {
		s[vsb.KnownSymbols+i] = s[pn63Start+i%pn63Length]
	}
	return s
}

// Field writes the next field of vsb.FieldSymbols symbols to dst. packets are the
// field's FieldPackets transport packets, one after the other.
func (e *Encoder) Field(dst []float32, packets []byte) error {
	if len(dst) != vsb.FieldSymbols {
		return fmt.Errorf("encoding a field of %d symbols into %d", vsb.FieldSymbols, len(dst))
	}
	if len(packets) != FieldPackets*PacketBytes {
		return fmt.Errorf("encoding a field of %d packets: got %d bytes, want %d", FieldPackets, len(packets), FieldPackets*PacketBytes)
	}
	for i := range FieldPackets {
		if b := packets[i*PacketBytes]; b != SyncByte {
			return fmt.Errorf("encoding packet %d of a field: it begins with %#02x, not with the sync byte %#02x", i, b, SyncByte)
		}
	}
	for i := range FieldPackets {
		e.packet((*[PacketBytes]byte)(packets[i*PacketBytes:]), i)
	}
	e.interleave.Write(e.coded[:])
	e.sync(dst[:vsb.SegmentSymbols])
	for i := range FieldPackets {
		e.segment(dst[(1+i)*vsb.SegmentSymbols:][:vsb.SegmentSymbols], i)
	}
	copy(e.last[:], dst[len(dst)-coders:])
	e.even = !e.even
	return nil
}

// packet randomises a packet and gives it its parity.
func (e *Encoder) packet(packet *[PacketBytes]byte, number int) {
	codeword := (*[CodedBytes]byte)(e.coded[number*CodedBytes:])
	e.randomiser.Apply((*[PayloadBytes]byte)(codeword[:]), (*[PayloadBytes]byte)(packet[1:]), number)
	e.parity.Encode(codeword)
}

// sync writes the field-sync segment. It ends with the last twelve symbols of
// the segment before. A/53 Part 2, “Data Field Sync”.
func (e *Encoder) sync(dst []float32) {
	which := 0
	if e.even {
		which = 1
	}
	copy(dst, e.syncs[which][:])
	copy(dst[vsb.SegmentSymbols-coders:], e.last[:])
}

// segment writes a data segment.
func (e *Encoder) segment(dst []float32, number int) {
	const level = vsb.SyncLevel
	copy(dst, []float32{level, -level, -level, level})
	dst = dst[vsb.SegmentSyncSymbols:]
	first := firstCoder(number)
	for i := range coderSymbols {
		step := number*coderSymbols + i
		part := step % byteSymbols
		begun := step - part
		bytes := e.coded[begun/byteSymbols*coders:][:coders]
		turn := coders - firstByteCoder(begun)
		for k := range coders {
			coder := (first + k) % coders
			pair := bytes[(coder+turn)%coders] >> (6 - 2*part)
			dst[i*coders+k] = Level(e.trellises[coder].Encode(pair))
		}
	}
}
