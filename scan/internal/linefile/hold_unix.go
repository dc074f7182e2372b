//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package linefile

import (
	"os"

	"golang.org/x/sys/unix"
)

// Hold takes a file for this program alone, until release is called or the file
// closed. certain is false where the file system has no locks. An error is
// ErrHeld.
func Hold(f *os.File) (release func(), certain bool, err error) {
	fd := int(f.Fd())
	for {
		switch err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err {
		case nil:
			return func() { unix.Flock(fd, unix.LOCK_UN) }, true, nil
		case unix.EWOULDBLOCK:
			return nil, false, ErrHeld
		case unix.EINTR:
		default:
			return func() {}, false, nil
		}
	}
}

// RenameOpen is true where a file's name can be given to another while it is
// open.
const RenameOpen = true
