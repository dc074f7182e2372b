package usb

import (
	"errors"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// usualPaths are the library's names, for the system to look for beside the
// program and in its own folder, and then in the folders of PATH. The folder
// that happens to be the current one is not looked in.
func usualPaths() []string {
	names := []string{"rtlsdr.dll", "librtlsdr.dll"}
	paths := names
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

func openLibrary(path string) (uintptr, error) {
	flags := uintptr(windows.LOAD_LIBRARY_SEARCH_DEFAULT_DIRS)
	if filepath.IsAbs(path) {
		// libusb lies beside it.
		flags |= windows.LOAD_LIBRARY_SEARCH_DLL_LOAD_DIR
	}
	h, err := windows.LoadLibraryEx(path, 0, flags)
	return uintptr(h), err
}

func findSymbol(handle uintptr, name string) (uintptr, error) {
	return windows.GetProcAddress(windows.Handle(handle), name)
}

// notFound says whether the system found nothing by that name.
func notFound(_ string, err error) bool {
	return errors.Is(err, windows.ERROR_MOD_NOT_FOUND)
}
