//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package site

import (
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// lock waits for its turn at a file, but not longer than wait, and returns
// what ends the turn. Where there are no locks, or another holds on to it, the
// turn is taken without.
func lock(f *os.File, wait time.Duration) (unlock func()) {
	fd := int(f.Fd())
	for deadline := time.Now().Add(wait); ; time.Sleep(2 * time.Millisecond) {
		switch err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); {
		case err == nil:
			return func() { unix.Flock(fd, unix.LOCK_UN) }
		case err != unix.EWOULDBLOCK && err != unix.EINTR || time.Now().After(deadline):
			return func() {}
		}
	}
}
