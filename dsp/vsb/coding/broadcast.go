package coding

import (
	"fmt"
	"sync"

	"rooftone/dsp/vsb"
)

// Broadcast is the symbols of a station for all time, encoded as they are asked for.
// Symbol 0 begins an odd field; the station went on the air a frame, two fields,
// before it, and there is nothing before that. It may be used by several
// goroutines.
type Broadcast struct {
	packets func(dst []byte, field int64)

	mu      sync.Mutex
	encoder *Encoder
	next    int64 // the field that the encoder makes next
	input   []byte
	levels  []float32
	recent  [broadcastFields][]int8 // field f at f modulo the length
}

const (
	firstField = -2

	// broadcastFields is how many fields are kept, a quarter of a megabyte
	// each. Fields further back are encoded again from the first one on.
	broadcastFields = 4
)

// NewBroadcast returns the broadcast of the packets that the function writes to dst
// for each field, FieldPackets of them. It must write the same for a field
// whenever it is called; a packet without the sync byte becomes a null packet.
func NewBroadcast(packets func(dst []byte, field int64)) *Broadcast {
	return &Broadcast{
		packets: packets,
		encoder: NewEncoder(),
		next:    firstField,
		input:   make([]byte, FieldPackets*PacketBytes),
		levels:  make([]float32, vsb.FieldSymbols),
	}
}

// Loop returns a function for NewBroadcast that sends a transport stream over and
// over. The error tells of a stream that is empty or not made of packets.
func Loop(stream []byte) (func(dst []byte, field int64), error) {
	count := int64(len(stream) / PacketBytes)
	if count == 0 || len(stream)%PacketBytes != 0 {
		return nil, fmt.Errorf("looping a transport stream of %d bytes: not a whole number of packets of %d", len(stream), PacketBytes)
	}
	for at := 0; at < len(stream); at += PacketBytes {
		if stream[at] != SyncByte {
			return nil, fmt.Errorf("looping a transport stream: packet %d begins with %#02x, not with the sync byte %#02x", at/PacketBytes, stream[at], SyncByte)
		}
	}
	return func(dst []byte, field int64) {
		n := (field%count*FieldPackets%count + count) % count
		for at := 0; at < len(dst); at += PacketBytes {
			copy(dst[at:at+PacketBytes], stream[n*PacketBytes:])
			n = (n + 1) % count
		}
	}, nil
}

// Symbols fills dst with the levels of the symbols from index first on, without the
// pilot's DC.
func (b *Broadcast) Symbols(dst []float32, first int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for len(dst) > 0 {
		field := first / vsb.FieldSymbols
		at := first % vsb.FieldSymbols
		if at < 0 {
			field, at = field-1, at+vsb.FieldSymbols
		}
		n := min(len(dst), vsb.FieldSymbols-int(at))
		if field < firstField {
			clear(dst[:n])
		} else {
			for i, v := range b.field(field)[at:][:n] {
				dst[i] = float32(v)
			}
		}
		dst = dst[n:]
		first += int64(n)
	}
}

// field returns a field's levels.
func (b *Broadcast) field(field int64) []int8 {
	if field < b.next-broadcastFields {
		b.encoder = NewEncoder()
		b.next = firstField
	}
	for b.next <= field {
		b.packets(b.input, b.next)
		for at := 0; at < len(b.input); at += PacketBytes {
			if b.input[at] != SyncByte {
				copy(b.input[at:], []byte{SyncByte, 0x1f, 0xff, 0x10})
			}
		}
		if err := b.encoder.Field(b.levels, b.input); err != nil {
			panic(err) // the lengths and the sync bytes are right
		}
		kept := &b.recent[b.slot(b.next)]
		if *kept == nil {
			*kept = make([]int8, vsb.FieldSymbols)
		}
		for i, v := range b.levels {
			(*kept)[i] = int8(v)
		}
		b.next++
	}
	return b.recent[b.slot(field)]
}

func (b *Broadcast) slot(field int64) int64 { return (field - firstField) % broadcastFields }
