package site

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"rooftone/scan/internal/linefile"
)

// lockWait is how long Append waits for another program that is appending,
// which takes it milliseconds. One that was stopped in the middle does not
// stop us: a record is a single write and is looked for afterwards.
const lockWait = 2 * time.Second

// Create starts a house file. The file appears with its header in it or not
// at all, and one that exists already is left alone: the error then wraps
// fs.ErrExist.
func Create(path string, h Header) error {
	b, err := encode(h)
	if err != nil {
		return fmt.Errorf("starting a house file: %w", err)
	}
	if err := create(path, b); err != nil {
		return fmt.Errorf("starting the house file %s: %w", path, linefile.Cause(err))
	}
	return nil
}

func create(path string, content []byte) error {
	if _, err := os.Lstat(path); err == nil {
		return fs.ErrExist
	}
	dir := filepath.Dir(path)
	temp, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	_, err = temp.Write(content)
	err = errors.Join(err, temp.Chmod(0o644), temp.Sync(), temp.Close())
	if err != nil {
		return err
	}
	// A link, unlike a rename, never takes the place of a file that someone
	// else made meanwhile.
	err = os.Link(temp.Name(), path)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		err = createPlain(path, content) // a memory card's file system has no links
	}
	if err != nil {
		return err
	}
	linefile.SyncDir(dir)
	return nil
}

func createPlain(path string, content []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	return errors.Join(err, f.Sync(), f.Close())
}

// Append adds records to a house file, all or none. When it returns nil they
// are on the disk.
//
// Any number of programs may append at once. They take turns by a lock on the
// file; where the file system has none, the records still arrive whole, since
// each Append is one write at the file's end, and since it looks afterwards
// whether its records begin on a line of their own and writes them again if
// they do not.
func Append(path string, records ...Record) error {
	if err := appendTo(path, lockWait, records); err != nil {
		return fmt.Errorf("adding to the house file %s: %w", path, linefile.Cause(err))
	}
	return nil
}

func appendTo(path string, wait time.Duration, records []Record) error {
	var b []byte
	for _, r := range records {
		one, err := encode(r)
		if err != nil {
			return err
		}
		b = append(b, one...)
	}
	f, err := linefile.Open(path, os.O_RDWR|os.O_APPEND)
	if err != nil {
		return err
	}
	unlock := lock(f, wait)
	err = appendLines(f, b)
	unlock()
	return errors.Join(err, f.Close())
}

// appendLines writes whole lines and sees that they are there.
func appendLines(f *os.File, b []byte) error {
	if err := checkHeader(f); err != nil {
		return err
	}
	if len(b) == 0 {
		return nil
	}
	// Once is enough unless another program, without a lock, left the
	// beginning of a line between our look at the end and our write.
	for range 3 {
		end, whole, err := fileEnd(f)
		if err != nil {
			return err
		}
		out := b
		if !whole {
			out = append([]byte{'\n'}, b...)
		}
		if _, err := f.Write(out); err != nil {
			return err
		}
		if err := f.Sync(); err != nil {
			return err
		}
		ok, err := arrived(f, end, whole, b)
		if ok || err != nil {
			return err
		}
	}
	return errors.New("another program keeps writing into its lines")
}

// checkHeader refuses to add to a file that is no house file.
func checkHeader(f *os.File) error {
	const most = 64 << 10
	first, err := bufio.NewReader(io.NewSectionReader(f, 0, most)).ReadBytes('\n')
	if err != nil && err != io.EOF { // EOF: a header alone, its line feed gone
		return err
	}
	_, err = Decode(bytes.NewReader(first))
	return err
}

// fileEnd returns the file's size, and whether its last line is complete.
func fileEnd(f *os.File) (size int64, whole bool, err error) {
	fi, err := f.Stat()
	if err != nil || fi.Size() == 0 {
		return 0, true, err
	}
	var last [1]byte
	if _, err := f.ReadAt(last[:], fi.Size()-1); err != nil {
		return 0, false, err
	}
	return fi.Size(), last[0] == '\n', nil
}

// arrived reports whether b stands on lines of its own at or after offset from.
func arrived(f *os.File, from int64, whole bool, b []byte) (bool, error) {
	fi, err := f.Stat()
	if err != nil {
		return false, err
	}
	got := make([]byte, fi.Size()-from)
	if _, err := f.ReadAt(got, from); err != nil && err != io.EOF {
		return false, err
	}
	if whole && bytes.HasPrefix(got, b) {
		return true, nil
	}
	return bytes.Contains(got, append([]byte{'\n'}, b...)), nil
}

// lock waits for its turn at a file, but not longer than wait, and returns
// what ends the turn. Where there are no locks, or another holds on to it, the
// turn is taken without.
func lock(f *os.File, wait time.Duration) (unlock func()) {
	for deadline := time.Now().Add(wait); ; time.Sleep(2 * time.Millisecond) {
		release, _, err := linefile.Hold(f)
		switch {
		case err == nil:
			return release
		case time.Now().After(deadline):
			return func() {}
		}
	}
}
