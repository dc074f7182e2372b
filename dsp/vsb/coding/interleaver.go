package coding

// The interleaver has 52 branches; each is four bytes longer than the one
// before. A/53 Part 2, “Interleaving”.
const (
	interleaverBranches = 52
	interleaverStep     = 4

	// branchDelay is how much later, in bytes of the stream, a branch gives
	// its bytes than the branch before it.
	branchDelay = interleaverStep * interleaverBranches

	// interleaverSpan is the longest branch's delay in bytes.
	interleaverSpan = (interleaverBranches - 1) * branchDelay
)

// delayOf returns how much later in the stream the interleaver sends the byte
// with the given number. The commutator is at the first branch with the first
// byte of a field, and a field is a whole number of its turns.
func delayOf(n int64) int64 { return n % interleaverBranches * branchDelay }

// Interleaver spreads bytes that stand side by side over 52 segments.
type Interleaver struct {
	next  int64
	bytes [interleaverRing]byte
}

// interleaverRing is a power of two that holds the longest branch.
const interleaverRing = 1 << 14

// Write replaces the bytes, which follow those of the call before, by those
// that leave the interleaver in their place. The first byte of all is the
// first of a field. Before that the interleaver is filled with zeros.
func (v *Interleaver) Write(b []byte) {
	for i, in := range b {
		v.bytes[v.next&(interleaverRing-1)] = in
		b[i] = v.bytes[(v.next-delayOf(v.next))&(interleaverRing-1)]
		v.next++
	}
}
