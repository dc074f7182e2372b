package watch

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"rooftone/scan/internal/linefile"
)

var (
	// ErrNotLog is of a file that is no log of a watch.
	ErrNotLog = errors.New("it is no log of a watch")
	// ErrNewer is of a log that a newer program wrote.
	ErrNewer = errors.New("a newer program wrote it")
)

// maxLine bounds one line of a log, in bytes.
const maxLine = 1 << 20

// Session is one run of a watch.
type Session struct {
	Start, End  time.Time // of its last record, as far as is known
	EverySec    float64
	RFChannels  []int
	ThresholdDB float64 // 0: not known
	Source      string
	Stopped     bool // in good order
}

// Gap is a time in which the radio was away.
type Gap struct {
	Start   time.Time
	Seconds float64
	Reason  string
	Open    bool // it had not come back at the log's end
}

// ClockSet is a moment at which the computer's clock was set.
type ClockSet struct {
	Time  time.Time // by the clock as it was then set
	BySec float64   // forward
}

// DiskTrouble is a time in which the log could not be written.
type DiskTrouble struct {
	Start     time.Time
	Seconds   float64
	Reason    string
	LostTicks int
}

// Log is what stands in a log. Times within a session are by its clock as it
// was set last.
type Log struct {
	Sessions []Session
	Hours    []Tally          // in order of time; one a channel and hour or less, and a day where it is long ago
	Minutes  map[int][]Minute // by channel
	Fades    []Fade
	Gaps     []Gap
	Clocks   []ClockSet
	Disk     []DiskTrouble

	Ticks   int  // that are still there
	Damaged int  // lines that could not be used
	Torn    bool // the last line is not complete: it is being written, or a lost supply cut it off
}

// Read reads a log, also while it is written to.
func Read(path string) (*Log, error) {
	f, err := linefile.Open(path, os.O_RDONLY)
	if err != nil {
		return nil, fmt.Errorf("reading the log %s: %w", path, linefile.Cause(err))
	}
	defer f.Close()
	l, err := Decode(f)
	if err != nil {
		return nil, fmt.Errorf("reading the log %s: %w", path, linefile.Cause(err))
	}
	return l, nil
}

// Decode reads a log from anywhere.
func Decode(r io.Reader) (*Log, error) {
	p := newReplay()
	if err := p.read(r); err != nil {
		return nil, err
	}
	p.finish()
	return p.log, nil
}
