package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// outFile is a file that appears under its name complete or not at all. It is
// opened before the measurement, so that nobody waits for a sweep to learn
// that the picture cannot be written.
//
// What was there under its name before is replaced, and that is said, where it
// can be made again from what is kept: pictures, pages. What came from the air
// and cannot (recordings, transport streams, field bundles) is replaced only
// with --force: see keepOld.
type outFile struct {
	name string
	f    *os.File // under a temporary name in the same directory
	done bool
	old  bool // there was one when it was finished
}

// keepOld refuses to replace a file that nobody could make again.
func keepOld(name string, force bool) error {
	if _, err := os.Lstat(name); err == nil && !force {
		return withHint(fmt.Errorf("%s is there already", name), "choose another name, or replace it with --force")
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("writing %s: %w", name, cause(err))
	}
	return nil
}

// createOut opens a file beside its final name.
func createOut(name string) (*outFile, error) {
	if fi, err := os.Stat(name); err == nil && !fi.Mode().IsRegular() {
		return nil, fmt.Errorf("writing %s: it is not a regular file", name)
	}
	dir, base := filepath.Split(name)
	for try := 0; ; try++ {
		temp := filepath.Join(dir, fmt.Sprintf(".%s.part-%d-%d", base, os.Getpid(), try))
		f, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, os.ErrExist) && try < 100 {
			continue
		}
		if err != nil {
			return nil, noFolder(dir, fmt.Errorf("writing %s: %w", name, cause(err)))
		}
		return &outFile{name: name, f: f}, nil
	}
}

// noFolder adds to an error about a file what is wrong where its folder is not there.
func noFolder(dir string, err error) error {
	if _, statErr := os.Stat(dir); dir == "" || !errors.Is(statErr, fs.ErrNotExist) {
		return err
	}
	return withHint(err, "there is no folder %s: make it first, or name another", filepath.Clean(dir))
}

// finish writes the content and moves the file to its name.
func (o *outFile) finish(write func(io.Writer) error) error {
	defer o.discard()
	if err := write(o.f); err != nil {
		return fmt.Errorf("writing %s: %w", o.name, cause(err))
	}
	// A full disk may come to light only here.
	if err := o.f.Close(); err != nil {
		return fmt.Errorf("writing %s: %w", o.name, cause(err))
	}
	_, err := os.Lstat(o.name)
	o.old = err == nil
	if err := os.Rename(o.f.Name(), o.name); err != nil {
		return fmt.Errorf("writing %s: %w", o.name, cause(err))
	}
	o.done = true
	return nil
}

// say tells that a file is written, and whether it took the place of another.
func (o *outFile) say(c *console, what string) {
	if o.old {
		c.note("%s is %s; it replaces the file of that name", what, o.name)
		return
	}
	c.note("%s is %s", what, o.name)
}

// discard removes what was not finished. It may be called at any time, and
// more than once.
func (o *outFile) discard() {
	if o == nil || o.done {
		return
	}
	o.done = true
	o.f.Close()
	os.Remove(o.f.Name())
}

// cause strips an error of the temporary name that no one asked for.
func cause(err error) error {
	if path := (*os.PathError)(nil); errors.As(err, &path) {
		return path.Err
	}
	if link := (*os.LinkError)(nil); errors.As(err, &link) {
		return link.Err
	}
	return err
}

// extension returns a file name's extension in lower case, with its dot.
func extension(name string) string { return strings.ToLower(filepath.Ext(name)) }

// sameFile reports whether two names lead to one file, existing or not.
func sameFile(a, b string) bool {
	if fa, err := os.Stat(a); err == nil {
		if fb, err := os.Stat(b); err == nil {
			return os.SameFile(fa, fb)
		}
	}
	return place(a) == place(b)
}

// place returns where a name leads, as far as that can be told of a file that
// does not exist yet.
func place(name string) string {
	if abs, err := filepath.Abs(name); err == nil {
		name = abs
	}
	dir, base := filepath.Split(name)
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	return filepath.Join(dir, base)
}
