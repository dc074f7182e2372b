package coding

import (
	"encoding/binary"
	"errors"
)

// ReedSolomon is the outer code: 187 bytes and 20 of parity, which correct ten
// bytes anywhere in the 207, or any e errors and f erasures (wrong bytes whose
// places are known) with 2e+f ≤ 20. It is the (255,235) code with the generator
// polynomial (x+α⁰)(x+α¹)…(x+α¹⁹) over bytes modulo x⁸+x⁴+x³+x²+1, shortened by
// 48 bytes. A/53 Part 2, “Reed-Solomon Encoder”. It may be used by several goroutines.
type ReedSolomon struct {
	field *galois

	// step[b] is b·x²⁰ modulo the generator polynomial: what a byte that
	// leaves the remainder's upper end does to the rest.
	step [256]remainder
}

// ErrUncorrectable is returned for a codeword with more errors than the code
// can correct.
var ErrUncorrectable = errors.New("more errors than the Reed–Solomon code corrects")

// remainder is a polynomial of 20 bytes, the highest power first; the last four
// bytes are the upper half of the last word.
type remainder [3]uint64

// NewReedSolomon returns the code's tables.
func NewReedSolomon() *ReedSolomon {
	r := &ReedSolomon{field: newGalois()}
	g := r.field
	// The generator polynomial, the highest power first.
	generator := []uint8{1}
	for root := range parityBytes {
		product := append(generator, 0) // times x
		for i := len(product) - 1; i > 0; i-- {
			product[i] ^= g.by[root][product[i-1]]
		}
		generator = product
	}
	for b := range r.step {
		var p [24]byte
		for i, c := range generator[1:] {
			p[i] = g.mul(c, uint8(b))
		}
		for i := range r.step[b] {
			r.step[b][i] = binary.BigEndian.Uint64(p[8*i:])
		}
	}
	return r
}

// Encode fills in the last 20 bytes of the codeword from the first 187.
func (r *ReedSolomon) Encode(codeword *[CodedBytes]byte) {
	var p [24]byte
	rem := r.divide(codeword)
	for i, w := range rem {
		binary.BigEndian.PutUint64(p[8*i:], w)
	}
	copy(codeword[PayloadBytes:], p[:])
}

// divide returns the parity that belongs to the codeword's first 187 bytes.
func (r *ReedSolomon) divide(codeword *[CodedBytes]byte) remainder {
	var a, b, c uint64
	for _, v := range codeword[:PayloadBytes] {
		t := &r.step[byte(a>>56)^v]
		a = a<<8 | b>>56
		b = b<<8 | c>>56
		c <<= 8
		a ^= t[0]
		b ^= t[1]
		c ^= t[2]
	}
	return remainder{a, b, c}
}

// Check tells whether the codeword has no errors, as far as its parity tells.
func (r *ReedSolomon) Check(codeword *[CodedBytes]byte) bool {
	return r.disagreement(codeword) == remainder{}
}

// disagreement returns the sum of the parity that was received and the parity
// that belongs to the rest.
func (r *ReedSolomon) disagreement(codeword *[CodedBytes]byte) remainder {
	rem := r.divide(codeword)
	p := codeword[PayloadBytes:]
	rem[0] ^= binary.BigEndian.Uint64(p)
	rem[1] ^= binary.BigEndian.Uint64(p[8:])
	rem[2] ^= uint64(binary.BigEndian.Uint32(p[16:])) << 32
	return rem
}
