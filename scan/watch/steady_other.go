//go:build !linux

package watch

import "time"

// steady is a time that nobody sets.
func steady(base time.Time) time.Duration { return time.Since(base) }
