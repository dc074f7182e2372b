package coding

import "encoding/binary"

// Randomiser makes the data look random: it adds a pseudo-random sequence that
// starts anew with every field. Adding it again takes it away. A/53 Part 2,
// “Data Randomizer”. It may be used by several goroutines.
type Randomiser struct {
	// A packet's part of the sequence is padded with zeros to whole words.
	sequence [FieldPackets][payloadWords]uint64
}

const payloadWords = (PayloadBytes + 7) / 8

// NewRandomiser returns a randomiser.
func NewRandomiser() *Randomiser {
	r := new(Randomiser)
	state := uint16(randomiserStart)
	for packet := range r.sequence {
		var b [8 * payloadWords]byte
		for i := range PayloadBytes {
			b[i] = randomiserByte(state)
			state = randomiserStep(state)
		}
		for i := range r.sequence[packet] {
			r.sequence[packet][i] = binary.LittleEndian.Uint64(b[8*i:])
		}
	}
	return r
}

// Apply randomises the 187 bytes behind the sync byte of the field's packet
// with the given number, 0 to 311, or undoes that. dst and src may be the same.
func (r *Randomiser) Apply(dst, src *[PayloadBytes]byte, packet int) {
	words := &r.sequence[packet]
	for i := range payloadWords - 1 {
		v := binary.LittleEndian.Uint64(src[8*i:]) ^ words[i]
		binary.LittleEndian.PutUint64(dst[8*i:], v)
	}
	last := words[payloadWords-1]
	for i := 8 * (payloadWords - 1); i < PayloadBytes; i++ {
		dst[i] = src[i] ^ byte(last)
		last >>= 8
	}
}

// The generator is x¹⁶+x¹³+x¹²+x¹¹+x⁷+x⁶+x³+x+1; bit k of the state is the
// standard's register x^(k+1). It is loaded during the field sync.
const (
	randomiserTaps  = 0x38cb
	randomiserStart = 0xf180
)

func randomiserStep(state uint16) uint16 {
	if state&0x8000 != 0 {
		return state<<1 ^ randomiserTaps
	}
	return state << 1
}

// randomiserByte reads the eight outputs D7 to D0 off the registers x¹⁴, x¹³,
// x¹², x¹¹, x⁷, x⁴, x³ and x.
func randomiserByte(state uint16) byte {
	high := state >> 6 & 0xf0 // x¹⁴ to x¹¹
	low := state>>3&8 | state>>1&4 | state>>1&2 | state&1
	return byte(high | low)
}
