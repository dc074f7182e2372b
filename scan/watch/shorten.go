package watch

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// bounds says how many lines of each kind a log may have, to how many it is
// shortened, and how often what was written is put on the disk for certain.
type bounds struct {
	mostTicks, ticks, mostMinutes, minutes int
	sync                                   time.Duration
}

// usualBounds keep half a day to a day of readings a second, and a month of
// minutes.
func usualBounds() bounds { return bounds{86400, 43200, 50000, 44640, syncEvery} }

// shortenAgain is how long a shortening that failed is left alone.
const shortenAgain = 10 * time.Minute

// shorten writes the log anew without its oldest ticks and minutes when it has
// too many of them.
func (w *Writer) shorten() {
	b := w.bounds
	if w.ticks <= b.mostTicks && w.minutes <= b.mostMinutes || !w.certain || w.now < w.shortenAfter {
		return
	}
	dropTicks, dropMinutes := 0, 0
	if w.ticks > b.ticks {
		// Those of the hour that has not been summed up yet stay.
		dropTicks = max(0, min(w.ticks-b.ticks, w.ticks-int(3700/w.settings.Every.Seconds())-1))
	}
	if w.minutes > b.minutes {
		dropMinutes = w.minutes - b.minutes
	}
	if dropTicks == 0 && dropMinutes == 0 {
		return
	}
	if err := w.replace(dropTicks, dropMinutes); err != nil {
		w.shortenAfter = w.now + shortenAgain
		w.notice(fmt.Sprintf("the log could not be shortened: %v; it grows until it can", cause(err)))
	}
}

// replace puts a file without the first so many ticks and minutes in the log's
// place. At every moment the log's name leads to a whole file.
func (w *Writer) replace(dropTicks, dropMinutes int) error {
	dir, base := filepath.Split(w.path)
	name := filepath.Join(dir, "."+base+".shorter") // of a run that was cut off it is written over
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_TRUNC|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	ticks, minutes, size, err := copyLines(f, io.NewSectionReader(w.file, 0, w.size), dropTicks, dropMinutes)
	if err == nil {
		_, err = hold(f)
	}
	if err == nil {
		err = f.Sync()
	}
	if err == nil && !renameOpen {
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
	syncDir(dir)
	w.ticks, w.minutes, w.size = ticks, minutes, size
	return nil
}

// copyLines copies a log line by line, without the first so many ticks and
// minutes.
func copyLines(to io.Writer, from io.Reader, dropTicks, dropMinutes int) (ticks, minutes int, size int64, err error) {
	in, out := bufio.NewReaderSize(from, maxLine), bufio.NewWriterSize(to, 256<<10)
	for {
		line, err := in.ReadSlice('\n')
		if err == io.EOF {
			return ticks, minutes, size, out.Flush() // half a line is left behind
		}
		if err == bufio.ErrBufferFull {
			for err == bufio.ErrBufferFull {
				_, err = in.ReadSlice('\n')
			}
			continue // no line of ours
		}
		if err != nil {
			return 0, 0, 0, err
		}
		switch kindOf(line) {
		case "tick":
			if dropTicks > 0 {
				dropTicks--
				continue
			}
			ticks++
		case "minute":
			if dropMinutes > 0 {
				dropMinutes--
				continue
			}
			minutes++
		}
		n, err := out.Write(line)
		size += int64(n)
		if err != nil {
			return 0, 0, 0, err
		}
	}
}
