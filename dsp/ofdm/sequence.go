package ofdm

import "math"

// The bootstrap's grid. A/321, 5.
const (
	// BootstrapRateHz is the sample rate in which its lengths are whole numbers.
	BootstrapRateHz = 6.144e6

	// BootstrapSpacingHz is the distance between its carriers.
	BootstrapSpacingHz = 3e3

	// BootstrapSymbols is the number of its symbols, each SymbolSeconds long.
	BootstrapSymbols = 4
	SymbolSeconds    = 500e-6

	// BootstrapSeconds is its length.
	BootstrapSeconds = BootstrapSymbols * SymbolSeconds
)

// A symbol's parts, in samples at BootstrapRateHz: A is one turn of the
// carriers, C is the end of A, B most of C moved in frequency. The first symbol is
// C, A, B and the others are B, C, A. A/321, 5.
const (
	partA = 2048
	partB = 504
	partC = 520
)

const (
	zadoffChuLength = 1499
	zadoffChuRoot   = 137 // major version 0

	// outermost is the number of the outermost carrier on either side. Carrier
	// 0, in the middle, is empty.
	outermost = zadoffChuLength / 2

	activeCarriers = 2 * outermost
)

// firstSeed is what the shift register holds at first in minor version 0.
const firstSeed = 0x019d

// register is the shift register of the pseudo-noise sequence, x¹⁶+x¹⁵+x¹⁴+x+1.
type register uint16

// next returns the next bit of the sequence.
func (r *register) next() int {
	v := *r
	*r = v>>1 | (v^v>>1^v>>14^v>>15)<<15
	return int(v & 1)
}

// zadoffChu returns value n of the Zadoff–Chu sequence.
func zadoffChu(n int) complex128 {
	// Turns count modulo 1, so the product modulo twice the length.
	half := zadoffChuRoot * n * (n + 1) % (2 * zadoffChuLength)
	return turn(-float64(half) / (2 * zadoffChuLength))
}

// carriers returns the values, of magnitude 1, of the carriers of a bootstrap
// symbol before its cyclic shift: that of carrier k is at k + outermost. A
// symbol takes as many values of the pseudo-noise sequence as it has carriers
// below the middle; above they stand in the mirror.
func carriers(symbol int) [zadoffChuLength]complex128 {
	noise := register(firstSeed)
	for range symbol * outermost {
		noise.next()
	}
	var s [zadoffChuLength]complex128
	for n := range outermost {
		sign := complex(float64(1-2*noise.next()), 0)
		m := zadoffChuLength - 1 - n
		s[n] = sign * zadoffChu(n)
		s[m] = sign * zadoffChu(m)
	}
	return s
}

// turn returns exp(2πi·cycles).
func turn(cycles float64) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Round(cycles)))
	return complex(cos, sin)
}
