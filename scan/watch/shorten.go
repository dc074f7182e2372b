package watch

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"rooftone/scan/internal/linefile"
)

// class is a kind of lines of which the oldest go when there are too many.
type class int

const (
	tickLines   class = iota
	minuteLines       // what is drawn and searched for steps by the minute
	fadeLines         // hours count them all
	momentLines       // starts and stops, away and back: a loose plug makes many
	hourLines         // older than a year they are put together to days
	classes
)

// classOf is the class of a kind of line; ok is false for those that stay.
func classOf(kind string) (c class, ok bool) {
	switch kind {
	case "tick":
		return tickLines, true
	case "minute":
		return minuteLines, true
	case "fade":
		return fadeLines, true
	case "start", "stop", "away", "back", "clock", "disk":
		return momentLines, true
	case "hour":
		return hourLines, true
	}
	return 0, false
}

// bounds says how many lines of each class a log may have, to how many it is
// shortened, and how often what was written is put on the disk for certain.
type bounds struct {
	most, left [classes]int
	sync       time.Duration
}

// usualBounds keep half a day to a day of readings a second, a month of minutes,
// and a year of the hours of eight channels.
func usualBounds() bounds {
	return bounds{
		most: [classes]int{86400, 50000, 60000, 12000, 80000},
		left: [classes]int{43200, 44640, 50000, 10000, 70080},
		sync: syncEvery,
	}
}

// shortenAgain is how long a shortening that failed is left alone.
const shortenAgain = 10 * time.Minute

// shorten writes the log anew without its oldest lines when it has too many of
// them.
func (w *Writer) shorten() {
	var drop [classes]int
	any := false
	for c := range classes {
		if w.lines[c] > w.bounds.most[c] {
			drop[c] = w.lines[c] - w.bounds.left[c]
		}
	}
	// Ticks of the hour that has not been summed up yet stay.
	drop[tickLines] = min(drop[tickLines], w.lines[tickLines]-int(3700/w.settings.Every.Seconds())-1)
	for c := range drop {
		drop[c] = max(0, drop[c])
		any = any || drop[c] > 0
	}
	if !any || !w.certain || w.now < w.shortenAfter {
		return
	}
	if err := w.replace(drop); err != nil {
		w.shortenAfter = w.now + shortenAgain
		w.notice(fmt.Sprintf("the log could not be shortened: %v; it grows until it can", linefile.Cause(err)))
	}
}

// replace puts a file without the first so many lines of each class in the log's
// place. At every moment the log's name leads to a whole file.
func (w *Writer) replace(drop [classes]int) error {
	dir, base := filepath.Split(w.path)
	name := filepath.Join(dir, "."+base+".shorter") // of a run that was cut off it is written over
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_TRUNC|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	lines, size, err := copyLines(f, io.NewSectionReader(w.file, 0, w.size), drop)
	if err == nil {
		_, _, err = linefile.Hold(f)
	}
	if err == nil {
		err = f.Sync()
	}
	if err == nil && !linefile.RenameOpen {
		// Here a file that is open keeps its name.
		f.Close()
		w.file.Close()
		err = os.Rename(name, w.path)
		reopened, certain, openErr := claim(w.path)
		if openErr != nil {
			return openErr
		}
		w.file, w.certain = reopened, certain
		if err != nil {
			return err
		}
	} else if err == nil {
		if err = os.Rename(name, w.path); err == nil {
			w.file.Close()
			w.file = f
		}
	}
	if err != nil {
		f.Close()
		os.Remove(name)
		return err
	}
	linefile.SyncDir(dir)
	w.lines, w.size = lines, size
	return nil
}

// copyLines copies a log line by line, without the first so many of each class.
// Hours that go are put together to days.
func copyLines(to io.Writer, from io.Reader, drop [classes]int) (lines [classes]int, size int64, err error) {
	in, out := bufio.NewReaderSize(from, maxLine), bufio.NewWriterSize(to, 256<<10)
	write := func(line []byte) {
		n, werr := out.Write(line)
		size += int64(n)
		if err == nil {
			err = werr
		}
	}
	days := daySums{}
	for err == nil {
		line, rerr := in.ReadSlice('\n')
		if rerr == bufio.ErrBufferFull {
			for rerr == bufio.ErrBufferFull {
				_, rerr = in.ReadSlice('\n')
			}
			continue // no line of ours
		}
		if rerr == io.EOF { // half a line is left behind
			days.end(write)
			if err == nil {
				err = out.Flush()
			}
			return lines, size, err
		}
		if rerr != nil {
			return lines, 0, rerr
		}
		if c, ok := classOf(kindOf(line)); ok {
			if drop[c] > 0 {
				drop[c]--
				if c == hourLines {
					days.add(line, write)
				}
				continue
			}
			if c == hourLines {
				days.end(write) // before what follows them
			}
			lines[c]++
		}
		write(line)
	}
	return lines, 0, err
}

// daySums puts hours together to days.
type daySums map[int]*Tally

// add takes an hour in, and writes the day before it down.
func (d daySums) add(line []byte, write func([]byte)) {
	var l hourLine
	if json.Unmarshal(line, &l) != nil {
		return
	}
	h, ok := l.tally()
	if !ok {
		return
	}
	t := d[h.RFChannel]
	if t != nil && dayNumber(t.Start) != dayNumber(h.Start) {
		write(t.dayLine())
		t = nil
	}
	if t == nil {
		t = &Tally{RFChannel: h.RFChannel, Start: h.Start}
		d[h.RFChannel] = t
	}
	t.add(&h)
}

// end writes down what there is.
func (d daySums) end(write func([]byte)) {
	for _, rf := range slices.Sorted(maps.Keys(d)) {
		write(d[rf].dayLine())
		delete(d, rf)
	}
}

// dayLine is the line of a tally that sums up hours.
func (t *Tally) dayLine() []byte {
	return append([]byte(`{"kind":"day"`), bytes.TrimPrefix(t.line(), []byte(`{"kind":"hour"`))...)
}
