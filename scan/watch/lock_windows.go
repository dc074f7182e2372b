package watch

import (
	"os"

	"golang.org/x/sys/windows"
)

// hold takes a file for this program alone, until it is closed. certain is
// false where the file system has no locks. An error is ErrBusy.
//
// Windows keeps others from reading what is locked, so the byte that is locked
// lies far beyond the end of any file.
func hold(f *os.File) (certain bool, err error) {
	region := &windows.Overlapped{OffsetHigh: 1 << 30}
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	switch err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, region); err {
	case nil:
		return true, nil
	case windows.ERROR_LOCK_VIOLATION, windows.ERROR_IO_PENDING:
		return false, ErrBusy
	}
	return false, nil
}

// renameOpen is true where a file's name can be given to another while it is
// open.
const renameOpen = false
