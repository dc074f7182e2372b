package watch

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"time"
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

// Open starts a log or resumes one. now is the wall's time. A log that another
// program has open is refused with ErrBusy, a file that is none with ErrNotLog.
func Open(path string, s Settings, now time.Time) (*Writer, error) {
	if !(s.Every > 0) || len(s.RFChannels) == 0 {
		return nil, errors.New("opening a log: a watch needs channels and a time from reading to reading")
	}
	w := &Writer{path: path, settings: s, bounds: usualBounds(), courses: map[int]*course{}, fades: map[int]int{}, wall: now}
	if s.bounds != nil {
		w.bounds = *s.bounds
	}
	if err := w.open(now); err != nil {
		return nil, fmt.Errorf("opening the log %s: %w", path, cause(err))
	}
	if err := w.flush(); err != nil {
		w.file.Close()
		return nil, fmt.Errorf("opening the log %s: %w", path, cause(err))
	}
	return w, nil
}

// open opens the file, goes through what is in it and makes the lines ready
// that begin this run.
func (w *Writer) open(now time.Time) error {
	f, certain, err := claim(w.path)
	if err != nil {
		return err
	}
	w.file, w.certain = f, certain
	if err := w.resume(now); err != nil {
		f.Close()
		return err
	}
	return nil
}

// claim opens the file that a name leads to, and takes it for this program.
func claim(path string) (f *os.File, certain bool, err error) {
	for range 20 {
		if f, err = openRegular(path, os.O_RDWR|os.O_CREATE|os.O_APPEND); err != nil {
			return nil, false, err
		}
		if certain, err = hold(f); err != nil {
			f.Close()
			return nil, false, err
		}
		// Another program may have given the name to a shorter file meanwhile.
		mine, err1 := f.Stat()
		named, err2 := os.Stat(path)
		if err1 == nil && err2 == nil && os.SameFile(mine, named) {
			return f, certain, nil
		}
		f.Close()
	}
	return nil, false, ErrBusy
}

// resume goes through what is in the file.
func (w *Writer) resume(now time.Time) error {
	fi, err := w.file.Stat()
	if err != nil {
		return err
	}
	w.size = fi.Size()
	head := encode(headerLine{Kind: "watch", Schema: Schema, Created: stamp(now), Program: printable(w.settings.Program, 120)})
	fresh, err := w.unbegun(head)
	if err != nil {
		return err
	}
	p := newReplay()
	w.resumed = !fresh
	if fresh {
		if err := w.file.Truncate(0); err != nil {
			return err
		}
		w.size = 0
		w.put(head)
	} else {
		if err := p.read(io.NewSectionReader(w.file, 0, w.size)); err != nil {
			return err
		}
		if p.log.Torn {
			w.put([]byte("\n"))
		}
		w.catchUp(p)
	}
	w.lines = p.lines
	for _, c := range p.courses {
		c.restart()
	}
	every := w.settings.Every.Seconds()
	for _, rf := range w.settings.RFChannels {
		c := p.courses[rf]
		if c == nil {
			c = newCourse(rf)
		}
		c.every = every
		w.courses[rf] = c
	}
	w.put(encode(startLine{
		Kind: "start", Time: stamp(now), EverySec: every, RFChannels: w.settings.RFChannels,
		ThresholdDB: rounded(w.settings.ThresholdDB, 100), Source: printable(w.settings.Source, 500), Program: printable(w.settings.Program, 120),
	}))
	return nil
}

// unbegun reports whether the file is empty or holds a header that was cut off:
// then there is nothing in it yet.
func (w *Writer) unbegun(head []byte) (bool, error) {
	if w.size == 0 {
		return true, nil
	}
	if w.size >= int64(len(head))+64 {
		return false, nil
	}
	b := make([]byte, w.size)
	if _, err := w.file.ReadAt(b, 0); err != nil && err != io.EOF {
		return false, err
	}
	const kind = `{"kind":"watch"`
	n := min(len(b), len(kind))
	return string(b[:n]) == kind[:n] && !slices.Contains(b, '\n'), nil
}

// catchUp makes the lines ready that the run before had no time for.
func (w *Writer) catchUp(p *replay) {
	for _, f := range p.untold {
		if p.courses[f.RFChannel].tells(&f) {
			w.put(f.line())
		}
	}
	var minutes []Minute
	for _, rf := range p.order() {
		c := p.courses[rf]
		if m, ok := c.endMinute(); ok && p.every < minuteEvery {
			minutes = append(minutes, m)
		}
	}
	if len(minutes) > 0 {
		w.put(appendMinute(nil, minutes))
	}
	for _, rf := range p.order() {
		if h, ok := p.courses[rf].endHour(); ok {
			w.put(h.line())
		}
	}
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
	w.put(encode(momentLine{Kind: "away", Time: stamp(at), Reason: printable(reason, 300)}))
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

// flush writes what is pending and sees that it is on the disk. Where that
// fails the file is as it was, and what is pending stays so.
func (w *Writer) flush() error {
	w.synced = w.now
	if len(w.pending) == 0 {
		return w.trouble
	}
	if err := w.follow(); err != nil {
		return w.failed(err)
	}
	out := w.scratch[:0]
	if w.trouble != nil {
		out = append(out, encode(momentLine{
			Kind: "disk", Time: stamp(w.since.wall), Seconds: rounded((w.now - w.since.steady).Seconds(), 10),
			Reason: printable(w.trouble.Error(), 300), LostTicks: w.since.lost,
		})...)
	}
	for _, l := range w.pending {
		out = append(out, l.text...)
	}
	w.scratch = out
	if err := write(w.file, out, w.size, w.certain); err != nil {
		return w.failed(err)
	}
	w.size += int64(len(out))
	for _, l := range w.pending {
		if l.readings >= 0 {
			w.kept += int64(l.readings)
		}
		if c, ok := classOf(kindOf(l.text)); ok {
			w.lines[c]++
		}
	}
	clear(w.pending)
	w.pending, w.bytes = w.pending[:0], 0
	if cap(w.scratch) > 1<<20 {
		w.scratch = nil
	}
	if w.trouble != nil {
		lost := ""
		if w.since.lost > 0 {
			lost = fmt.Sprintf("; %d moments could not wait and are in the hours only", w.since.lost)
		}
		w.notice("the log can be written again" + lost)
		w.trouble, w.since.lost = nil, 0
	}
	return nil
}

// write adds to a file, all or nothing.
func write(f *os.File, b []byte, size int64, alone bool) error {
	_, err := f.Write(b)
	if err == nil {
		err = f.Sync()
	}
	if err != nil && alone {
		// Half a line would be passed over by all who read, but it need not be
		// there.
		f.Truncate(size)
	}
	return err
}

// failed notes that the disk takes nothing.
func (w *Writer) failed(err error) error {
	err = cause(err)
	if w.trouble == nil {
		w.since.wall, w.since.steady = w.wall, w.now
		w.notice(fmt.Sprintf("the log cannot be written: %v; measuring goes on, and it is tried again", err))
	}
	w.trouble = err
	return err
}

func (w *Writer) notice(s string) {
	if w.settings.Notice != nil {
		w.settings.Notice(s)
	}
}

// follow sees that the name still leads to our file. Where someone moved it
// away or deleted it, another is begun.
func (w *Writer) follow() error {
	mine, closed := w.file.Stat()
	named, err := os.Stat(w.path)
	if err == nil && closed == nil && os.SameFile(mine, named) {
		return nil
	}
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	old := w.pending
	w.pending, w.bytes = nil, 0
	file, courses := w.file, w.courses
	w.courses = map[int]*course{}
	if err := w.open(w.wall); err != nil {
		w.file, w.courses, w.pending = file, courses, old
		return err
	}
	file.Close()
	w.courses = courses
	for _, l := range old {
		w.ready(l.text, l.readings)
	}
	w.notice("the log was moved away, and begun anew")
	return nil
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
		return fmt.Errorf("ending the log %s: %w", w.path, cause(err))
	}
	return nil
}
