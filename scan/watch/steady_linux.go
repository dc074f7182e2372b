package watch

import (
	"time"

	"golang.org/x/sys/unix"
)

// steady is a time that nobody sets. On Linux the usual one stands still while
// the computer sleeps; this one does not.
func steady(base time.Time) time.Duration {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &t) != nil {
		return time.Since(base)
	}
	return time.Duration(t.Nano())
}
