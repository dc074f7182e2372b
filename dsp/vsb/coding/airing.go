package coding

import (
	"math/bits"
	"sync"

	"rooftone/dsp/vsb"
)

// Playout makes the symbols of many stations, any field of them without those
// before: what a simulated radio needs that looks in on each now and then. Its
// memory is some 2 MB however many they are. It may be used by several
// goroutines.
//
// What hinders that are the trellis coders, whose state depends on all that was
// sent before. So two packets of each field, EarlyPacket and LatePacket, are null
// packets whose payload, which the standards leave free, brings all coders back to
// zero at the field's end. Nothing else of the stream changes.
//
// # How it is done
//
// All of the coding is linear over bits, but for the randomiser, which adds a
// constant. A coder's state at the field's end is a sum of its input bits: Y2 that
// of all upper bits, its two delay elements those of the lower bits of every
// other pair, for with each step the elements change places. So it is three
// parities of the sum of all bytes that the coder gets, 36 in all.
//
// A bit of a null packet moves its own coder's parities and, by way of 20 bytes of
// parity, those of others. For the early packet 33 bits are found, once and by
// elimination, whose effects are independent. More there are not: as 1 is a root of
// the Reed–Solomon code's generator, the bytes of a codeword sum up to zero, and so
// do the effects over all coders. The late packet, of which a part is sent only
// in the next field, supplies the other three. What it has to supply is the sum
// of what the field sends of packets that it does not send whole; nothing of that
// comes from the field before, for those packets end here.
type Playout struct {
	mu      sync.Mutex
	encoder *Encoder
	early   [stateBits][CodedBytes]byte // which bits to turn for each state bit
	late    [3][CodedBytes]byte

	// What was prepared last: of is nil for nothing.
	of    *Airing
	field int64

	packets       []byte
	before, after [fieldBytes]byte // coded, not interleaved: the field before, as far as it matters, and this one
	interleaved   [fieldBytes]byte // this one

	recent [playoutFields]keptField
	clock  uint64
}

const (
	// EarlyPacket and LatePacket are the numbers in their field of the packets
	// that a Playout makes itself.
	EarlyPacket = 2
	LatePacket  = FieldPackets - DelaySegments/2

	// playoutFields is how many fields are kept, a quarter of a megabyte each:
	// those of the stations that a slice shows.
	playoutFields = 8

	stateBits    = 3 * coders
	packetHeader = 4
)

type keptField struct {
	of     *Airing
	field  int64
	used   uint64 // when, on the Playout's clock
	levels []int8
}

// Airing is one station's symbols, known for all time.
type Airing struct {
	playout *Playout
	packets func(dst []byte, field int64)
}

// NewPlayout returns a playout.
func NewPlayout() *Playout {
	p := &Playout{encoder: NewEncoder(), packets: make([]byte, FieldPackets*PacketBytes)}
	p.early = turns(p.encoder.parity, EarlyPacket, stateOf)
	late := turns(p.encoder.parity, LatePacket, func(sums *[coders]byte) uint64 {
		var all byte
		for _, sum := range sums {
			all ^= sum
		}
		return parities(all)
	})
	copy(p.late[:], late[:])
	return p
}

// Airing returns the airing of the packets that the function writes to dst for each
// field, FieldPackets of them. It must write the same for a field whenever it is
// called; the packets EarlyPacket and LatePacket, and any without the sync byte,
// become null packets.
func (p *Playout) Airing(packets func(dst []byte, field int64)) *Airing {
	return &Airing{playout: p, packets: packets}
}

// Symbols fills dst with the levels of the symbols from index first on, without the
// pilot's DC. An odd field begins with symbol 0.
func (a *Airing) Symbols(dst []float32, first int64) {
	a.playout.mu.Lock()
	defer a.playout.mu.Unlock()
	for len(dst) > 0 {
		field, at := first/vsb.FieldSymbols, first%vsb.FieldSymbols
		if at < 0 {
			field, at = field-1, at+vsb.FieldSymbols
		}
		n := min(len(dst), vsb.FieldSymbols-int(at))
		for i, v := range a.playout.levels(a, field)[at:][:n] {
			dst[i] = float32(v)
		}
		dst = dst[n:]
		first += int64(n)
	}
}

// Packets writes the FieldPackets packets of a field to dst, as they are sent.
func (a *Airing) Packets(dst []byte, field int64) {
	a.playout.mu.Lock()
	defer a.playout.mu.Unlock()
	a.playout.prepare(a, field)
	copy(dst, a.playout.packets)
}

// levels returns a field's levels, made now unless they are kept.
func (p *Playout) levels(a *Airing, field int64) []int8 {
	p.clock++
	oldest := &p.recent[0]
	for i := range p.recent {
		k := &p.recent[i]
		if k.of == a && k.field == field {
			k.used = p.clock
			return k.levels
		}
		if k.used < oldest.used {
			oldest = k
		}
	}
	if oldest.levels == nil {
		oldest.levels = make([]int8, vsb.FieldSymbols)
	}
	p.prepare(a, field)
	p.modulate(oldest.levels, field)
	oldest.of, oldest.field, oldest.used = a, field, p.clock
	return oldest.levels
}

// prepare makes a field's packets and bytes.
func (p *Playout) prepare(a *Airing, field int64) {
	switch {
	case p.of == a && p.field == field:
		return
	case p.of == a && p.field == field-1:
		p.before = p.after
	default:
		// What the interleaver still holds of the field before.
		p.fill(a, field-1)
		p.code(FieldPackets - DelaySegments)
		p.before = p.encoder.coded
	}
	p.fill(a, field)
	p.code(0)
	for n := range p.interleaved {
		if from := n - int(delayOf(int64(n))); from >= 0 {
			p.interleaved[n] = p.encoder.coded[from]
		} else {
			p.interleaved[n] = p.before[from+fieldBytes]
		}
	}
	p.steer()
	p.of, p.field = a, field
}

// fill asks for a field's packets.
func (p *Playout) fill(a *Airing, field int64) {
	a.packets(p.packets, field)
	for i := range FieldPackets {
		b := p.packets[i*PacketBytes:][:PacketBytes]
		own := i == EarlyPacket || i == LatePacket
		if own || b[0] != SyncByte {
			copy(b, []byte{SyncByte, 0x1f, 0xff, 0x10})
		}
		if own {
			clear(b[packetHeader:])
		}
	}
}

// code codes the packets from a number on, one of those that the field does not
// send whole.
func (p *Playout) code(from int) {
	for i := from; i < FieldPackets; i++ {
		p.encoder.packet((*[PacketBytes]byte)(p.packets[i*PacketBytes:]), i)
	}
	var sum byte
	for at := (FieldPackets - DelaySegments) * CodedBytes; at < fieldBytes; at++ {
		if sentAt(at) < fieldBytes {
			sum ^= p.encoder.coded[at]
		}
	}
	for state := parities(sum); state != 0; state &= state - 1 {
		p.turn(&p.late[bits.TrailingZeros64(state)], LatePacket)
	}
}

// sentAt returns the place in which the interleaver sends a field's byte.
func sentAt(at int) int { return at + int(delayOf(int64(at))) }

// turn turns bits of a coded packet and of the packet.
func (p *Playout) turn(turn *[CodedBytes]byte, number int) {
	codeword := p.encoder.coded[number*CodedBytes:][:CodedBytes]
	for i, v := range turn {
		codeword[i] ^= v
	}
	payload := p.packets[number*PacketBytes+1:][:PayloadBytes]
	for i := range payload {
		payload[i] ^= turn[i]
	}
}

// steer brings the coders to zero with the early packet.
func (p *Playout) steer() {
	// All bytes of a coder act on its state alike, so only their sum matters.
	var sums [coders]byte
	for n := 0; n < fieldBytes; n += coders {
		first := firstByteCoder(n / coders * byteSymbols)
		for i, b := range p.interleaved[n:][:coders] {
			sums[(first+i)%coders] ^= b
		}
	}
	for state := stateOf(&sums); state != 0; state &= state - 1 {
		turn := &p.early[bits.TrailingZeros64(state)]
		p.turn(turn, EarlyPacket)
		for i, v := range turn {
			p.interleaved[sentAt(EarlyPacket*CodedBytes+i)] ^= v
		}
	}
	p.after = p.encoder.coded
}

// stateOf returns the coders' states at the end of a field that they began with
// zero, three bits each, from the sums of their bytes.
func stateOf(sums *[coders]byte) (state uint64) {
	for c, sum := range sums {
		state |= parities(sum) << (3 * c)
	}
	return state
}

// parities returns a coder's state, from zero, after bytes of the given sum. A
// field is a whole number of bytes for each coder, so pairs with the same place in
// their bytes act on the same delay element.
func parities(sum byte) uint64 {
	parity := func(b byte) uint64 { return uint64(bits.OnesCount8(b) & 1) }
	return parity(sum&0xaa)<<2 | parity(sum&0x44)<<1 | parity(sum&0x11)
}

// turns finds which bits of a coded packet to turn for each bit of what effect
// returns of the sums of the bytes that each coder gets of it in its field. It is
// nothing for bits that depend on others.
func turns(parity *ReedSolomon, number int, effect func(sums *[coders]byte) uint64) (found [stateBits][CodedBytes]byte) {
	var effects [stateBits]uint64 // of found; each but nothing has a bit that no other has, its own
	for bit := 8 * (packetHeader - 1); bit < 8*PayloadBytes; bit++ {
		var turn [CodedBytes]byte
		turn[bit/8] = 0x80 >> (bit % 8)
		parity.Encode(&turn)
		var sums [coders]byte
		for i, v := range turn {
			if n := sentAt(number*CodedBytes + i); n < fieldBytes {
				sums[(firstByteCoder(n/coders*byteSymbols)+n)%coders] ^= v
			}
		}
		has := effect(&sums)
		for k := range found {
			if effects[k] != 0 && has>>k&1 != 0 {
				has ^= effects[k]
				add(&turn, &found[k])
			}
		}
		if has == 0 {
			continue
		}
		own := bits.TrailingZeros64(has)
		for k := range found {
			if effects[k]>>own&1 != 0 {
				effects[k] ^= has
				add(&found[k], &turn)
			}
		}
		effects[own], found[own] = has, turn
	}
	return found
}

func add(to, from *[CodedBytes]byte) {
	for i, v := range from {
		to[i] ^= v
	}
}

// modulate makes the symbols of the prepared field.
func (p *Playout) modulate(dst []int8, field int64) {
	e := p.encoder
	e.coded = p.interleaved
	e.even = field&1 != 0
	clear(e.trellises[:])
	// Where a coder was brought to zero its last symbol has Z2 and Z0 of zero, and
	// Z1 is the lower bit that brought it there.
	for k := range e.last {
		n := fieldBytes - coders + k
		e.last[k] = Level(p.before[n-int(delayOf(int64(n)))] & 1 << 1)
	}
	var symbols [vsb.SegmentSymbols]float32
	e.sync(symbols[:])
	for i := range vsb.FieldSegments {
		if i > 0 {
			e.segment(symbols[:], i-1)
		}
		for k, v := range symbols {
			dst[i*vsb.SegmentSymbols+k] = int8(v)
		}
	}
}
