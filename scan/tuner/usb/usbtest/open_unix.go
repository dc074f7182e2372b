//go:build !windows

package usbtest

import "github.com/ebitengine/purego"

// open loads a library whose name others then take for known.
func open(path string) (uintptr, error) {
	return purego.Dlopen(path, purego.RTLD_NOW|purego.RTLD_GLOBAL)
}
