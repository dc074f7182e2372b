//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd || windows)

package watch

import "os"

// hold cannot take a file for this program alone here.
func hold(*os.File) (certain bool, err error) { return false, nil }

const renameOpen = false
