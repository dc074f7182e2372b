//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd || windows)

package linefile

import "os"

// Hold cannot take a file for this program alone here.
func Hold(*os.File) (release func(), certain bool, err error) { return func() {}, false, nil }

// RenameOpen is true where a file's name can be given to another while it is
// open.
const RenameOpen = false
