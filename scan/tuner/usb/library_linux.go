package usb

import (
	"strings"

	"github.com/ebitengine/purego"
)

// usualPaths are names for the system's linker to look for; the first is that
// of Debian 12 and before, the second what came after.
func usualPaths() []string {
	return []string{"librtlsdr.so.0", "librtlsdr.so.2", "librtlsdr.so"}
}

func openLibrary(path string) (uintptr, error) {
	return purego.Dlopen(path, purego.RTLD_NOW|purego.RTLD_LOCAL)
}

func findSymbol(handle uintptr, name string) (uintptr, error) {
	return purego.Dlsym(handle, name)
}

// notFound says whether the linker found nothing by that name, by its words.
// Of a library that lacks another one it complains about the other.
func notFound(name string, err error) bool {
	s := err.Error()
	return strings.Contains(s, name+": ") && strings.Contains(s, "No such file or directory")
}
