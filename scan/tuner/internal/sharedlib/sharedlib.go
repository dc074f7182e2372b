// Package sharedlib finds and loads libraries while the program runs, in the
// way of each system: by purego, without cgo.
package sharedlib

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/ebitengine/purego"
)

// ErrMissing says that a library is nowhere.
var ErrMissing = errors.New("no library found")

// missing says whether a library that Open could not load is not there, as
// opposed to being there and not loading.
func missing(path string, err error) bool {
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

// Load loads the first library that is at one of the paths. Where none is there
// the error is ErrMissing, else what is wrong with those that are.
func Load(paths []string) (path string, handle uintptr, err error) {
	var broken error
	for _, p := range paths {
		handle, err := Open(p)
		if err == nil {
			return p, handle, nil
		}
		if !missing(p, err) {
			broken = errors.Join(broken, fmt.Errorf("%s: %w", p, err))
		}
	}
	if broken != nil {
		return "", 0, broken
	}
	return "", 0, ErrMissing
}

// Bind makes functions of a library's symbols: a pointer to a function is the
// value of each name. It returns the name of one that the library lacks.
func Bind(handle uintptr, symbols map[string]any) (lacks string, err error) {
	for name, fn := range symbols {
		sym, err := Symbol(handle, name)
		if err != nil {
			return name, err
		}
		purego.RegisterFunc(fn, sym)
	}
	return "", nil
}
