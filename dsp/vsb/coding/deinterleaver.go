package coding

// byteRing holds the bytes that were received, in the interleaver's order, until
// the last of their packet has come. Each may be marked as erased.
type byteRing struct {
	bytes      [interleaverRing]byte
	erased     [interleaverRing]bool
	end        int64 // number of the byte that comes next
	lastErased int64
}

const ringMask = interleaverRing - 1

// reset forgets what was received. The next byte has the given number.
func (r *byteRing) reset(next int64) {
	r.end = next
	r.lastErased = -1
	clear(r.erased[:])
}

// write takes the coders' next twelve bytes; first is the coder of the first one.
func (r *byteRing) write(byCoder []byte, first int) {
	for i := range coders {
		r.bytes[(r.end+int64(i))&ringMask] = byCoder[(first+i)%coders]
	}
	r.end += coders
}

// erase marks bytes as erased, clear takes marks of a turn of the ring before
// away.
func (r *byteRing) erase(from int64, count int) {
	for n := from; n < from+int64(count); n++ {
		r.erased[n&ringMask] = true
	}
	r.lastErased = max(r.lastErased, from+int64(count)-1)
}

func (r *byteRing) clear(from, to int64) {
	for n := from; n < to; n++ {
		r.erased[n&ringMask] = false
	}
}

// gather takes the codeword with the given first byte out of the interleaver's
// order. It writes the places of erased bytes and returns their number.
func (r *byteRing) gather(codeword *[CodedBytes]byte, places *[CodedBytes]int, first int64) int {
	delay := int(delayOf(first))
	at := int(first & ringMask)
	if r.lastErased < first {
		for i := range codeword {
			codeword[i] = r.bytes[(at+i+delay)&ringMask]
			if delay += branchDelay; delay > interleaverSpan {
				delay = 0
			}
		}
		return 0
	}
	count := 0
	for i := range codeword {
		n := (at + i + delay) & ringMask
		codeword[i] = r.bytes[n]
		if r.erased[n] {
			places[count] = i
			count++
		}
		if delay += branchDelay; delay > interleaverSpan {
			delay = 0
		}
	}
	return count
}
