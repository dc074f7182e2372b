//go:build !(linux || darwin || freebsd)

package watch

import "testing"

func fullDisk(t *testing.T) { t.Skip("no limit to a file's size here") }
