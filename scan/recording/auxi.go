package recording

import (
	"encoding/binary"
	"time"
)

// auxiBytes is as much of an auxi chunk as is read.
const auxiBytes = 36

// parseAuxi reads an auxi chunk, in which recorders of radio samples put what a
// sound's headers have no place for: the times of the first and the last
// sample, 16 bytes each, then the centre frequency in hertz, 32 bits. A chunk
// with something else in it tells nothing.
func (w *wavFile) parseAuxi(b []byte) {
	if len(b) < auxiBytes {
		return
	}
	start, ok := parseSystemTime(b)
	if !ok {
		return
	}
	if hz := float64(binary.LittleEndian.Uint32(b[32:])); hz > 0 {
		w.start, w.centerHz = start, hz
	}
}

// parseSystemTime reads a time of eight numbers of 16 bits: year, month, day of
// the week, day, hour, minute, second and millisecond, all zero where it is not
// known.
func parseSystemTime(b []byte) (t time.Time, ok bool) {
	var v [8]int
	zero := true
	for i := range v {
		v[i] = int(binary.LittleEndian.Uint16(b[2*i:]))
		zero = zero && v[i] == 0
	}
	if zero {
		return time.Time{}, true
	}
	t = time.Date(v[0], time.Month(v[1]), v[3], v[4], v[5], v[6], v[7]*1e6, time.UTC)
	same := t.Year() == v[0] && int(t.Month()) == v[1] && t.Day() == v[3] && t.Hour() == v[4] && t.Minute() == v[5] && t.Second() == v[6]
	return t, same && v[2] < 7 && v[7] < 1000 && v[0] >= 1980 && v[0] < 2200
}
