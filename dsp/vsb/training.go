package vsb

// The parts of a field-sync segment in symbols. A/53 Part 2, 5.3.2.
const (
	pn511Start    = SegmentSyncSymbols
	pn63Start     = pn511Start + 511
	modeStart     = pn63Start + 3*63
	reservedStart = modeStart + 24
	precodeStart  = SegmentSymbols - precodeSymbols

	precodeSymbols = 12

	// KnownSymbols is how many symbols of a field-sync segment a receiver
	// knows beforehand.
	KnownSymbols = reservedStart
)

// vsbMode is the VSB mode of terrestrial 8-VSB with trellis code.
const vsbMode = "000010100101111101011010"

// pn511 returns the field sync's long training sequence as bits.
func pn511() []byte {
	b := make([]byte, 511)
	copy(b, []byte{0, 0, 0, 0, 0, 0, 0, 1, 0})
	for n := 9; n < len(b); n++ {
		b[n] = b[n-2] ^ b[n-3] ^ b[n-5] ^ b[n-6] ^ b[n-8] ^ b[n-9]
	}
	return b
}

// pn63 returns the field sync's short training sequence as bits.
func pn63() []byte {
	b := make([]byte, 63)
	copy(b, []byte{1, 1, 1, 0, 0, 1})
	for n := 6; n < len(b); n++ {
		b[n] = b[n-5] ^ b[n-6]
	}
	return b
}

// FieldSync returns the symbols of a field-sync segment and which of them a
// receiver knows beforehand: the segment sync, PN511, three PN63 and the VSB
// mode. The others, the reserved and the precode symbols, are returned as 0.
// Even fields are those whose middle PN63 is inverted.
func FieldSync(odd bool) (symbols [SegmentSymbols]float32, known [SegmentSymbols]bool) {
	bits := append([]byte{1, 0, 0, 1}, pn511()...)
	for i := range 3 {
		var invert byte
		if i == 1 && !odd {
			invert = 1
		}
		for _, b := range pn63() {
			bits = append(bits, b^invert)
		}
	}
	for _, c := range []byte(vsbMode) {
		bits = append(bits, c-'0')
	}
	for i, b := range bits {
		symbols[i] = SyncLevel * (2*float32(b) - 1)
		known[i] = true
	}
	return symbols, known
}
