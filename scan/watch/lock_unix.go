//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package watch

import (
	"os"

	"golang.org/x/sys/unix"
)

// hold takes a file for this program alone, until it is closed. certain is
// false where the file system has no locks. An error is ErrBusy.
func hold(f *os.File) (certain bool, err error) {
	for {
		switch err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err {
		case nil:
			return true, nil
		case unix.EWOULDBLOCK:
			return false, ErrBusy
		case unix.EINTR:
		default:
			return false, nil
		}
	}
}

// renameOpen is true where a file's name can be given to another while it is
// open.
const renameOpen = true
