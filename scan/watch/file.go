package watch

import (
	"errors"
	"io/fs"
	"os"
)

// openRegular opens a file, and refuses what is no file: a pipe would wait for
// ever.
func openRegular(path string, flag int) (*os.File, error) {
	fi, err := os.Stat(path)
	switch {
	case err == nil && !fi.Mode().IsRegular():
		return nil, errors.New("it is not a regular file")
	case err != nil && !(errors.Is(err, fs.ErrNotExist) && flag&os.O_CREATE != 0):
		return nil, err
	}
	return os.OpenFile(path, flag, 0o644)
}

// cause strips an error of a path that the message has already.
func cause(err error) error {
	if path := (*fs.PathError)(nil); errors.As(err, &path) {
		return path.Err
	}
	if link := (*os.LinkError)(nil); errors.As(err, &link) {
		return link.Err
	}
	return err
}

// syncDir makes a new name in a folder last, where the system can.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		d.Sync()
		d.Close()
	}
}

// ErrBusy is of a log that another program watches into.
var ErrBusy = errors.New("another program is watching into it")
