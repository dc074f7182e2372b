// Package sharedlib finds and loads libraries while the program runs, in the
// way of each system: by purego, without cgo.
package sharedlib

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Missing says whether a library that Open could not load is not there, as
// opposed to being there and not loading.
func Missing(path string, err error) bool {
	if filepath.Base(path) == path {
		return notFound(path, err)
	}
	_, err = os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}

// OneLine joins the lines of an error.
func OneLine(err error) string {
	return strings.Join(strings.Split(err.Error(), "\n"), "; ")
}
