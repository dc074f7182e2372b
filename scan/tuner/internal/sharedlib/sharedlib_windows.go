package sharedlib

import (
	"errors"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// Paths returns where to look for a library of these names: beside the program
// and in the system's own folder, and then in the folders of PATH. The folder
// that happens to be the current one is not looked in.
func Paths(names ...string) []string {
	paths := append([]string(nil), names...)
	for _, dir := range filepath.SplitList(os.Getenv("PATH")) {
		if !filepath.IsAbs(dir) {
			continue
		}
		for _, n := range names {
			paths = append(paths, filepath.Join(dir, n))
		}
	}
	return paths
}

// Open loads a library. It stays loaded.
func Open(path string) (uintptr, error) {
	flags := uintptr(windows.LOAD_LIBRARY_SEARCH_DEFAULT_DIRS)
	if filepath.IsAbs(path) {
		// What it needs itself lies beside it.
		flags |= windows.LOAD_LIBRARY_SEARCH_DLL_LOAD_DIR
	}
	h, err := windows.LoadLibraryEx(path, 0, flags)
	return uintptr(h), err
}

// Symbol returns the address of one of a library's functions.
func Symbol(handle uintptr, name string) (uintptr, error) {
	return windows.GetProcAddress(windows.Handle(handle), name)
}

// notFound says whether the system found nothing by that name.
func notFound(_ string, err error) bool {
	return errors.Is(err, windows.ERROR_MOD_NOT_FOUND)
}
