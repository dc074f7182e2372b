package site

import (
	"os"
	"time"

	"golang.org/x/sys/windows"
)

// lock waits for its turn at a file, but not longer than wait, and returns
// what ends the turn. Where there are no locks, or another holds on to it, the
// turn is taken without.
//
// Windows keeps others from reading what is locked, so the byte that is locked
// lies far beyond the end of any file.
func lock(f *os.File, wait time.Duration) (unlock func()) {
	handle := windows.Handle(f.Fd())
	region := func() *windows.Overlapped { return &windows.Overlapped{OffsetHigh: 1 << 30} }
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	for deadline := time.Now().Add(wait); ; time.Sleep(2 * time.Millisecond) {
		switch err := windows.LockFileEx(handle, flags, 0, 1, 0, region()); {
		case err == nil:
			return func() { windows.UnlockFileEx(handle, 0, 1, 0, region()) }
		case err != windows.ERROR_LOCK_VIOLATION && err != windows.ERROR_IO_PENDING || time.Now().After(deadline):
			return func() {}
		}
	}
}
