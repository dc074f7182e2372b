package vsb

// Waveform is one station's sequence of symbols, known for all time: framed as
// A/53 says, with random data. The same seed is the same station. It may be
// used by several goroutines.
type Waveform struct {
	seed  uint64
	syncs [2][SegmentSymbols]float32 // odd, even
}

// NewWaveform returns the waveform with the given seed.
func NewWaveform(seed uint64) *Waveform {
	w := &Waveform{seed: mix(seed)}
	w.syncs[0], _ = FieldSync(true)
	w.syncs[1], _ = FieldSync(false)
	return w
}

// Symbols fills dst with the levels of the symbols from index first on,
// without the pilot's DC. An odd field begins with symbol 0.
func (w *Waveform) Symbols(dst []float32, first int64) {
	segment := floorDiv(first, SegmentSymbols)
	skip := int(first - segment*SegmentSymbols)
	var whole [SegmentSymbols]float32
	for len(dst) > 0 {
		if skip == 0 && len(dst) >= SegmentSymbols {
			w.segment((*[SegmentSymbols]float32)(dst), segment)
			dst = dst[SegmentSymbols:]
		} else {
			w.segment(&whole, segment)
			dst = dst[copy(dst, whole[skip:]):]
			skip = 0
		}
		segment++
	}
}

// segment writes the segment with the given index.
func (w *Waveform) segment(dst *[SegmentSymbols]float32, index int64) {
	field := floorDiv(index, FieldSegments)
	if index != field*FieldSegments {
		w.random(dst, index)
		dst[0], dst[1], dst[2], dst[3] = SyncLevel, -SyncLevel, -SyncLevel, SyncLevel
		return
	}
	var before [SegmentSymbols]float32
	w.random(&before, index-1)
	*dst = w.syncs[field&1]
	copy(dst[precodeStart:], before[precodeStart:])
	r := mix(w.seed - uint64(index)*golden)
	for i := reservedStart; i < precodeStart; i++ {
		if i%64 == 0 {
			r = mix(r)
		}
		dst[i] = SyncLevel * (2*float32(r>>(i%64)&1) - 1)
	}
}

// random fills a segment with data symbols.
func (w *Waveform) random(dst *[SegmentSymbols]float32, index int64) {
	const perWord = 16
	r := mix(w.seed + uint64(index)*golden)
	for i := 0; i < SegmentSymbols; i += perWord {
		r += golden
		v := mix(r)
		for j := range perWord {
			dst[i+j] = float32(int32(v>>(3*j)&7)*2 - 7)
		}
	}
}

const golden = 0x9e3779b97f4a7c15

// mix is a bijection of 64-bit words in which every bit of x moves every bit
// of the result.
func mix(x uint64) uint64 {
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
