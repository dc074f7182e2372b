package watch

import (
	"errors"
	"fmt"
	"os"

	"rooftone/scan/internal/linefile"
)

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
			Reason: linefile.Printable(w.trouble.Error(), 300), LostTicks: w.since.lost,
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
	err = linefile.Cause(err)
	if w.trouble == nil {
		w.since.wall, w.since.steady = w.wall, w.now
		w.notice(fmt.Sprintf("the log cannot be written: %v; measuring goes on, and it is tried again", err))
	}
	w.trouble = err
	return err
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
