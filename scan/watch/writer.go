package watch

import (
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"time"

	"rooftone/scan/internal/linefile"
)

const (
	// syncEvery is how often what was written is put on the disk for certain: a
	// lost supply costs that much at the most. Each time wears a memory card by
	// a block or two.
	syncEvery = 5 * time.Second

	// minuteEvery: of readings this many seconds apart or more no minutes are
	// written, a reading is one itself.
	minuteEvery = 30.0

	// clockJump is how far wall and steady clock must part between two ticks to
	// count as the clock having been set, in seconds.
	clockJump = 2.0

	// toldPerHour is how many fades of a channel and hour have a line of their
	// own; deeper ones than all before have one beyond that.
	toldPerHour = 20

	// mostPending bounds what is kept in memory, in bytes, while the disk
	// takes nothing. The oldest ticks go first; what sums them up stays.
	mostPending = 4 << 20
)

// Settings says what a watch does.
type Settings struct {
	Every       time.Duration // from tick to tick
	RFChannels  []int
	ThresholdDB float64
	Source      string
	Program     string // name and version

	// Notice, when not nil, is told what one should know, in a line.
	Notice func(string)

	bounds *bounds // nil: the usual ones
}

// pendingLine is a line that is not on the disk yet.
type pendingLine struct {
	text     []byte
	readings int // of a tick; −1 of all else
}

// Writer adds to a log. It is used by one goroutine.
type Writer struct {
	path     string
	settings Settings
	bounds   bounds
	file     *os.File
	certain  bool // no one else writes
	resumed  bool // there was a log before
	size     int64

	courses map[int]*course
	pending []pendingLine
	bytes   int // of pending
	synced  time.Duration
	now     time.Duration // since the watch began
	wall    time.Time     // at the same moment
	begun   bool          // there was a tick
	hour    time.Time
	min     time.Time

	lines        [classes]int // in the file
	shortenAfter time.Duration

	fades   map[int]int // that ended in this run, by channel
	kept    int64
	written int64 // readings that were given to Add
	trouble error
	since   struct {
		wall   time.Time
		steady time.Duration
		lost   int
	}
	away    bool
	awayAt  time.Duration
	scratch []byte
}

// put makes a line ready to be written.
func (w *Writer) put(line []byte) { w.ready(line, -1) }

func (w *Writer) ready(line []byte, readings int) {
	w.pending = append(w.pending, pendingLine{line, readings})
	w.bytes += len(line)
	for i := 0; w.bytes > mostPending && i < len(w.pending); {
		if w.pending[i].readings < 0 {
			i++
			continue
		}
		w.bytes -= len(w.pending[i].text)
		w.pending = slices.Delete(w.pending, i, i+1)
		w.since.lost++
	}
}

// Add takes a tick. It fails only for a tick that makes no sense; what the disk
// does is told by Trouble and Kept.
func (w *Writer) Add(t Tick) error {
	if t.Since < w.now && w.begun {
		return errors.New("a tick before the last one")
	}
	w.checkClock(t.Time, t.Since)
	w.roll(t.Time)
	w.now, w.wall, w.begun = t.Since, t.Time, true
	w.ready(appendTick(nil, t), len(t.Readings))
	w.written += int64(len(t.Readings))
	for _, r := range t.Readings {
		c := w.courses[r.RFChannel]
		if c == nil {
			return fmt.Errorf("a reading of channel %d, which is not watched", r.RFChannel)
		}
		if f := c.add(r, t.Time, t.Since); f != nil {
			w.fades[r.RFChannel] += one(!f.Stayed)
			if c.tells(f) {
				w.put(f.line())
			}
		}
		if c.every >= minuteEvery {
			c.endMinute()
		}
	}
	w.due()
	return nil
}

// tells decides whether a fade gets a line of its own.
func (c *course) tells(f *Fade) bool {
	h := &c.hour
	if h.told >= toldPerHour && !f.Stayed && (f.DepthDB() < h.DeepestDB || h.told >= 2*toldPerHour) {
		return false
	}
	h.told++
	return true
}

// checkClock notices that the wall's clock was set since the last tick.
func (w *Writer) checkClock(wall time.Time, since time.Duration) {
	by := wall.Sub(w.wall).Seconds() - (since - w.now).Seconds()
	if !w.begun || math.Abs(by) < clockJump {
		return
	}
	w.sumUp()
	w.put(encode(momentLine{Kind: "clock", Time: stamp(wall), BySec: rounded(by, 1000)}))
	w.notice(fmt.Sprintf("the clock was set by %+.0f s", by))
}

// roll sums up minutes and hours that are over.
func (w *Writer) roll(t time.Time) {
	min, hour := t.Truncate(time.Minute), t.Truncate(time.Hour)
	if !min.Equal(w.min) {
		w.endMinutes()
		w.min = min
	}
	if !hour.Equal(w.hour) {
		w.endHours()
		w.hour = hour
	}
}

func (w *Writer) sumUp() {
	w.endMinutes()
	w.endHours()
}

func (w *Writer) endMinutes() {
	var list []Minute
	for _, rf := range w.settings.RFChannels {
		if m, ok := w.courses[rf].endMinute(); ok {
			list = append(list, m)
		}
	}
	if len(list) > 0 {
		w.put(appendMinute(nil, list))
	}
}

func (w *Writer) endHours() {
	for _, rf := range w.settings.RFChannels {
		if h, ok := w.courses[rf].endHour(); ok {
			w.put(h.line())
		}
	}
}

// Away notes that the radio does not answer any more; Back that it does.
func (w *Writer) Away(at time.Time, since time.Duration, reason string) {
	if w.away {
		return
	}
	w.checkClock(at, since)
	w.away, w.awayAt = true, since
	w.put(encode(momentLine{Kind: "away", Time: stamp(at), Reason: linefile.Printable(reason, 300)}))
	w.now = max(w.now, since)
	w.wall = at
	w.flush()
}

// Back notes that the radio answers again.
func (w *Writer) Back(at time.Time, since time.Duration) {
	if !w.away {
		return
	}
	w.checkClock(at, since)
	w.away = false
	w.put(encode(momentLine{Kind: "back", Time: stamp(at), Seconds: rounded((since - w.awayAt).Seconds(), 10)}))
	w.now, w.wall = max(w.now, since), at
	w.flush()
}

// due writes when it is time to.
func (w *Writer) due() {
	if w.now-w.synced < w.bounds.sync {
		return
	}
	w.flush()
	if w.trouble == nil {
		w.shorten()
	}
}

// Resumed reports whether the log had been there before.
func (w *Writer) Resumed() bool { return w.resumed }

// Sync puts all that was added on the disk.
func (w *Writer) Sync() error { return w.flush() }

// Kept is how many readings of this run are on the disk.
func (w *Writer) Kept() int64 { return w.kept }

// Written is how many readings were added in this run.
func (w *Writer) Written() int64 { return w.written }

// Trouble is why the disk takes nothing at the moment; nil when it does.
func (w *Writer) Trouble() error { return w.trouble }

// Bytes is the size of the file.
func (w *Writer) Bytes() int64 { return w.size }

func (w *Writer) notice(s string) {
	if w.settings.Notice != nil {
		w.settings.Notice(s)
	}
}

// Close ends the run in good order.
func (w *Writer) Close(at time.Time) error {
	w.sumUp()
	w.wall = at
	w.put(encode(momentLine{Kind: "stop", Time: stamp(at)}))
	err := w.flush()
	if cerr := w.file.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return fmt.Errorf("ending the log %s: %w", w.path, linefile.Cause(err))
	}
	return nil
}
