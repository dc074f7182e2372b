package watch

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"rooftone/scan/internal/linefile"
)

// ErrBusy is of a log that another program watches into.
var ErrBusy = errors.New("another program is watching into it")

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
		return nil, fmt.Errorf("opening the log %s: %w", path, linefile.Cause(err))
	}
	if err := w.flush(); err != nil {
		w.file.Close()
		return nil, fmt.Errorf("opening the log %s: %w", path, linefile.Cause(err))
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
		if f, err = linefile.Open(path, os.O_RDWR|os.O_CREATE|os.O_APPEND); err != nil {
			return nil, false, err
		}
		if _, certain, err = linefile.Hold(f); err != nil {
			f.Close()
			return nil, false, ErrBusy
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
	head := encode(headerLine{Kind: "watch", Schema: Schema, Created: stamp(now), Program: linefile.Printable(w.settings.Program, 120)})
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
		ThresholdDB: rounded(w.settings.ThresholdDB, 100), Source: linefile.Printable(w.settings.Source, 500), Program: linefile.Printable(w.settings.Program, 120),
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
