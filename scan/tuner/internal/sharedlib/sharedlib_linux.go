package sharedlib

import (
	"strings"

	"github.com/ebitengine/purego"
)

// Paths returns where to look for a library of these names: the system's linker
// knows the places.
func Paths(names ...string) []string { return names }

// Open loads a library. It stays loaded.
func Open(path string) (uintptr, error) {
	return purego.Dlopen(path, purego.RTLD_NOW|purego.RTLD_LOCAL)
}

// Symbol returns the address of one of a library's functions.
func Symbol(handle uintptr, name string) (uintptr, error) {
	return purego.Dlsym(handle, name)
}

// notFound says whether the linker found nothing by that name, by its words.
// Of a library that lacks another one it complains about the other.
func notFound(name string, err error) bool {
	s := err.Error()
	return strings.Contains(s, name+": ") && strings.Contains(s, "No such file or directory")
}
