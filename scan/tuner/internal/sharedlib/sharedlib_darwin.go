package sharedlib

import (
	"path/filepath"
	"strings"

	"github.com/ebitengine/purego"
)

// Paths returns where to look for a library of these names: as they are, and in
// the places of the package managers, which the system's linker does not look in
// by itself.
func Paths(names ...string) []string {
	paths := append([]string(nil), names...)
	for _, dir := range []string{"/opt/homebrew/lib", "/usr/local/lib", "/opt/local/lib"} {
		for _, n := range names {
			paths = append(paths, filepath.Join(dir, n))
		}
	}
	return paths
}

// Open loads a library. It stays loaded.
func Open(path string) (uintptr, error) {
	return purego.Dlopen(path, purego.RTLD_NOW|purego.RTLD_LOCAL)
}

// Symbol returns the address of one of a library's functions.
func Symbol(handle uintptr, name string) (uintptr, error) {
	return purego.Dlsym(handle, name)
}

// notFound says whether the linker found nothing by that name, by its words:
// it lists what it tried, and what was wrong with each.
func notFound(_ string, err error) bool {
	s := err.Error()
	return strings.Contains(s, "no such file") &&
		!strings.Contains(s, "incompatible") && !strings.Contains(s, "not loaded")
}
