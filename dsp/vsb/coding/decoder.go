package coding

import (
	"fmt"

	"rooftone/dsp/vsb"
)

// Decoder makes transport packets of soft symbols, segment by segment. Its memory
// is fixed and it allocates nothing after NewDecoder.
type Decoder struct {
	randomiser *Randomiser
	parity     *ReedSolomon
	trellises  *viterbi
	received   byteRing

	running bool
	first   int64 // data segment with which it began
	next    int64 // data segment that comes next
	totals  Totals

	symbols   [dataSymbols]uint16
	decided   [maxDecided]byte
	precoded  [coders]byte // the last Z2 of each coder
	erasures  [CodedBytes]int
	codeword  [CodedBytes]byte
	corrected [CodedBytes]byte
}

// maxDecided is how many bytes a segment can make certain.
const maxDecided = (coderSymbols + byteSymbols - 1) / byteSymbols * coders

// Packet is a transport packet and what is known of its errors.
type Packet struct {
	// Bytes is the packet. If it could not be corrected it has what was
	// received, and its transport_error_indicator is set.
	Bytes [PacketBytes]byte

	// Number is the packet's number in its field, 0 to 311.
	Number int

	// Failed tells that the packet could not be corrected.
	Failed bool

	// Corrected is how many of its 207 bytes were corrected. Erased is how many
	// were given up before, because of erased symbols; they count among the
	// corrected ones if they were wrong.
	Corrected, Erased int
}

// Totals are counts since NewDecoder.
type Totals struct {
	Packets, Failed   int64
	Corrected, Erased int64 // bytes, as in Packet; corrected ones of packets that did not fail
}

const errorIndicator = 0x80 // in a packet's second byte

// NewDecoder returns a decoder.
func NewDecoder() *Decoder {
	return &Decoder{
		randomiser: NewRandomiser(),
		parity:     NewReedSolomon(),
		trellises:  newViterbi(),
	}
}

// Totals returns the counts so far.
func (d *Decoder) Totals() Totals { return d.totals }

// Reset makes the decoder forget what it received, as a jump in the segments'
// indices does by itself. The totals stay.
func (d *Decoder) Reset() { d.running = false }

// Segment takes the next segment. index is its index in its field, 0 to 312; soft
// are its vsb.SegmentSymbols symbols, of which the syncs do not matter. A symbol
// that is not finite is erased: nothing is known of it. If soft is nil the whole
// segment is.
//
// With each data segment from the decoder's DelaySegments+1st on it gives the
// packet that began DelaySegments before, and returns true. Segments must come
// one after the other, with or without the field syncs among them: otherwise
// the decoder starts anew, and the packets under way are not given.
//
// The error is of a wrong call; bad symbols are none.
func (d *Decoder) Segment(dst *Packet, index int, soft []float32) (bool, error) {
	if soft != nil && len(soft) != vsb.SegmentSymbols {
		return false, fmt.Errorf("decoding a segment of %d symbols: got %d", vsb.SegmentSymbols, len(soft))
	}
	if index < 0 || index >= vsb.FieldSegments {
		return false, fmt.Errorf("decoding a segment: index %d is not in a field of %d", index, vsb.FieldSegments)
	}
	if index == 0 {
		d.running = d.running && d.next%FieldPackets == 0
		return false, nil
	}
	number := index - 1
	if !d.running || d.next%FieldPackets != int64(number) {
		d.start(number)
	}
	d.symbolsIn(soft)
	d.bytesOut()
	d.next++
	packet := d.next - 1 - DelaySegments
	if packet < d.first {
		return false, nil
	}
	d.packet(dst, packet)
	return true, nil
}

// start begins with the data segment of the given number in its field.
func (d *Decoder) start(number int) {
	d.running = true
	d.first, d.next = int64(number), int64(number)
	step := d.first * coderSymbols
	d.trellises.reset(step)
	d.received.reset(nextByte(step))
	// The first pairs of bits wait for what was sent before them.
	d.received.erase(nextByte(step), coders)
}

// nextByte returns the number of the first byte that begins with the given step
// of the coders or later.
func nextByte(step int64) int64 { return (step + byteSymbols - 1) / byteSymbols * coders }

// symbolsIn takes a segment's symbols into the trellis decoders and marks the
// bytes that erased ones touch.
func (d *Decoder) symbolsIn(soft []float32) {
	first := firstCoder(int(d.next % FieldPackets))
	begin := d.next * coderSymbols
	d.received.clear(nextByte(begin)+coders, nextByte(begin+coderSymbols)+coders)
	switch {
	case soft == nil:
		for i := range d.symbols {
			d.symbols[i] = softErased
		}
		d.received.erase(begin/byteSymbols*coders, int(nextByte(begin+coderSymbols)-begin/byteSymbols*coders)+coders)
	case quantise(&d.symbols, soft[vsb.SegmentSyncSymbols:]):
		for i, s := range d.symbols {
			if s == softErased {
				d.eraseSymbol(begin+int64(i/coders), (first+i)%coders)
			}
		}
	}
	d.trellises.segment(&d.symbols, first)
}

// eraseSymbol marks the byte that a coder's symbol belongs to and, as the
// precoder makes a pair of bits of two symbols, the one that the next belongs to.
func (d *Decoder) eraseSymbol(step int64, coder int) {
	for s := step; s <= step+1; s++ {
		begun := s - s%byteSymbols
		order := (coder - firstByteCoder(int(begun%fieldSteps)) + coders) % coders
		d.received.erase(begun/byteSymbols*coders+int64(order), 1)
	}
}

// fieldSteps is how many symbols each coder makes in a field.
const fieldSteps = FieldPackets * coderSymbols

// bytesOut takes from the trellis decoders what has become certain.
func (d *Decoder) bytesOut() {
	from := d.received.end / coders * byteSymbols
	to := (d.trellises.steps - viterbiLag) / byteSymbols * byteSymbols
	if to <= from {
		return
	}
	decided := d.decided[:(to-from)/byteSymbols*coders]
	d.trellises.decide(decided, from, to)
	for i := range decided {
		// Undo the precoder: each upper bit is the sum of itself and of
		// the one before.
		coder := i % coders
		z := decided[i]
		decided[i] = z ^ z>>2&0x2a ^ d.precoded[coder]<<7
		d.precoded[coder] = z >> 1 & 1
	}
	for step := from; step < to; step += byteSymbols {
		d.received.write(decided[:coders], firstByteCoder(int(step%fieldSteps)))
		decided = decided[coders:]
	}
}

// packet gathers, corrects and derandomises a packet.
func (d *Decoder) packet(dst *Packet, packet int64) {
	erased := d.received.gather(&d.codeword, &d.erasures, packet*CodedBytes)
	*dst = Packet{Number: int(packet % FieldPackets), Erased: erased}
	corrected, err := d.correct(erased)
	dst.Failed = err != nil
	dst.Corrected = corrected
	dst.Bytes[0] = SyncByte
	d.randomiser.Apply((*[PayloadBytes]byte)(dst.Bytes[1:]), (*[PayloadBytes]byte)(d.codeword[:]), dst.Number)
	d.totals.Packets++
	d.totals.Erased += int64(erased)
	d.totals.Corrected += int64(corrected)
	if dst.Failed {
		dst.Bytes[1] |= errorIndicator
		d.totals.Failed++
	}
}

// spareParity is how many bytes of parity must be left over when erasures are
// used. Without any, every word would be taken for some codeword.
const spareParity = 2

// correct corrects the codeword in place. Bytes given up are erasures if there
// are few enough of them; otherwise, or if that fails, they may still be right.
func (d *Decoder) correct(erased int) (int, error) {
	if erased > 0 && erased <= parityBytes-spareParity {
		d.corrected = d.codeword
		n, err := d.parity.Decode(&d.corrected, d.erasures[:erased])
		// Each byte that was wrong without being marked took two of parity.
		if err == nil && d.parityUsed(erased) <= parityBytes-spareParity {
			d.codeword = d.corrected
			return n, nil
		}
	}
	return d.parity.Decode(&d.codeword, nil)
}

// parityUsed returns how many bytes of parity the correction took.
func (d *Decoder) parityUsed(erased int) int {
	used := erased
	marked := d.erasures[:erased]
	for i := range d.codeword {
		if len(marked) > 0 && marked[0] == i {
			marked = marked[1:]
			continue
		}
		if d.codeword[i] != d.corrected[i] {
			used += 2
		}
	}
	return used
}
