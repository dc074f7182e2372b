package dongle

// counterRun is how many bytes in a row must each be one more than the one
// before to be taken for the dongle's counter. Samples do that by chance once
// in 256^128, and a signal that did it would have to be locked to its own
// sampling.
const counterRun = 128

// marker finds the end of the dongle's counter in a stream of bytes.
//
// The counter may jump where the dongle is reset in the middle of it or bytes
// are lost, so its end only counts once no more of it has come for a while.
type marker struct {
	pass int // bytes to pass over after the counter, at least 2·counterRun

	prev  byte
	run   int  // bytes in a row that were one more than the one before
	seen  bool // the counter has been seen
	after int  // bytes since the last of it
}

func newMarker(pass int) *marker {
	return &marker{pass: max(pass, 2*counterRun)}
}

// scan looks at the stream's next bytes. It reports whether the stream is past
// the counter and all that is to be passed over after it, and after how many
// of these bytes.
func (m *marker) scan(p []byte) (n int, past bool) {
	for i, b := range p {
		if b == m.prev+1 {
			m.run++
		} else {
			m.run = 0
		}
		m.prev = b
		switch {
		case m.run >= counterRun:
			m.seen, m.after = true, 0
		case m.seen:
			if m.after++; m.after >= m.pass {
				return i + 1, true
			}
		}
	}
	return len(p), false
}
