package linefile

import (
	"os"

	"golang.org/x/sys/windows"
)

// Hold takes a file for this program alone, until release is called or the file
// closed. certain is false where the file system has no locks. An error is
// ErrHeld.
//
// Windows keeps others from reading what is locked, so the byte that is locked
// lies far beyond the end of any file.
func Hold(f *os.File) (release func(), certain bool, err error) {
	handle := windows.Handle(f.Fd())
	region := func() *windows.Overlapped { return &windows.Overlapped{OffsetHigh: 1 << 30} }
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	switch err := windows.LockFileEx(handle, flags, 0, 1, 0, region()); err {
	case nil:
		return func() { windows.UnlockFileEx(handle, 0, 1, 0, region()) }, true, nil
	case windows.ERROR_LOCK_VIOLATION, windows.ERROR_IO_PENDING:
		return nil, false, ErrHeld
	}
	return func() {}, false, nil
}

// RenameOpen is true where a file's name can be given to another while it is
// open.
const RenameOpen = false
