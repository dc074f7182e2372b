package hunt

import (
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// InsideDwell is how many seconds of each slice Inside wants. Shorter stays
// still show tones; impulses of the mains need some thirty of their periods to
// be told from chance and from each other.
const InsideDwell = 0.3

// Inside looks for what does not belong inside channels: tones, narrow
// carriers, raised floors, impulses, second stations, what neighbours spill.
// It is fed with a visit's samples beside what measures them: hand its Keep to
// scan.Options. It is used by one goroutine, and what it keeps does not grow
// with the length of a stay.
type Inside struct {
	channels []band.Channel
	source   tuner.Info
}

// NewInside makes an Inside for channels, ascending in frequency, of a source.
func NewInside(channels []band.Channel, source tuner.Info) *Inside {
	return &Inside{channels: channels, source: source}
}

// Keep takes the next block of a visit; newStay is true for the first block of
// a stay. The block's memory is the caller's again afterwards.
func (n *Inside) Keep(b tuner.Block, newStay bool) error { return nil }

// Wants returns the tunings that would show what no stay has shown so far,
// such as what lies under the spike in the middle of a slice. It is empty when
// there is nothing to gain. Visit them with InsideDwell, feed Keep, and ask
// Suspects again.
func (n *Inside) Wants() []tuner.Tuning { return nil }

// Suspects says what was found, given what the same samples were measured to
// be: the clock (nil when unknown) and the Readings of all channels, wanted or
// not. Suspects of one kind stand in order of frequency. It may be called
// again after more was heard.
func (n *Inside) Suspects(clock *measure.Clock, readings []measure.Reading) []Suspect { return nil }
