// Package linefile is what files of lines that programs add to have in common:
// how they are opened, made to last, and held by one program at a time.
package linefile

import (
	"errors"
	"io/fs"
	"os"
	"strings"
	"unicode"
	"unicode/utf8"
)

// ErrHeld is of a file that another program holds.
var ErrHeld = errors.New("another program holds it")

// Open opens a file, and refuses what is no file: a pipe would wait for ever.
// One that os.O_CREATE makes can be read by all.
func Open(path string, flag int) (*os.File, error) {
	fi, err := os.Stat(path)
	switch {
	case err == nil && !fi.Mode().IsRegular():
		return nil, errors.New("it is not a regular file")
	case err != nil && !(errors.Is(err, fs.ErrNotExist) && flag&os.O_CREATE != 0):
		return nil, err
	}
	return os.OpenFile(path, flag, 0o644)
}

// SyncDir makes a new name in a folder last. Not every system can, and those
// that cannot do it by themselves.
func SyncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		d.Sync()
		d.Close()
	}
}

// Cause strips an error of a path that the message has already, or that no
// one asked for.
func Cause(err error) error {
	if path := (*fs.PathError)(nil); errors.As(err, &path) {
		return path.Err
	}
	if link := (*os.LinkError)(nil); errors.As(err, &link) {
		return link.Err
	}
	return err
}

// Printable makes any text fit to be shown: on one line, of at most limit
// characters, with U+FFFD for what cannot be printed.
func Printable(s string, limit int) string {
	s = strings.Join(strings.Fields(s), " ")
	n := 0
	return strings.Map(func(r rune) rune {
		if n++; n > limit {
			return -1
		}
		if !unicode.IsPrint(r) {
			return utf8.RuneError
		}
		return r
	}, s)
}
