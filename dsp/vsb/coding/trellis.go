package coding

// TrellisEncoder is one of the twelve trellis coders. Of each pair of bits X2 X1
// the upper is precoded, Y2 = X2 ⊕ Y2 of the pair before, and sent as Z2; the
// lower is sent as Z1 and moves a convolutional coder of four states, whose
// output is Z0. A/53 Part 2, “Trellis Coding”.
type TrellisEncoder struct {
	// state has Y2 of the pair before in bit 2 and the convolutional coder's two
	// delay elements a and b in bits 1 and 0. Z0 is b; with the next pair's
	// lower bit Y1 they become b and a ⊕ Y1.
	state uint8
}

// Encode returns the symbol of three bits Z2 Z1 Z0 for a pair of bits.
func (t *TrellisEncoder) Encode(pair uint8) uint8 {
	a, b := t.state>>1&1, t.state&1
	x2, y1 := pair>>1&1, pair&1
	y2 := t.state>>2 ^ x2
	t.state = y2<<2 | b<<1 | a ^ y1
	return y2<<2 | y1<<1 | b
}

// Level returns the level of a symbol of three bits: −7, −5 … 7. A/53 Part 2,
// “Bit-to-Symbol Mapping”.
func Level(symbol uint8) float32 { return float32(2*int(symbol&7) - 7) }

// The twelve coders take the bytes of a field twelve at a time, one each, and
// work on them from the upper pair of bits to the lowest. Of a segment's data
// symbols number k belongs to coder k+4·segment modulo 12, with the data segments
// counted from 0; so a coder's symbols stay twelve apart over the segment syncs.
// The coder of a segment's first symbol is also the one that gets the first byte of
// twelve that begin in the segment. A/53 Part 2, “Trellis Coding”, table of the
// byte to symbol conversion.

// firstCoder returns the coder of a data segment's first data symbol.
func firstCoder(segment int) int { return 4 * segment % coders }

// firstByteCoder returns the coder of the first of the twelve bytes that the
// coders begin with the given step. Steps are symbols of one coder, counted in
// the field.
func firstByteCoder(step int) int { return firstCoder(step / coderSymbols) }
