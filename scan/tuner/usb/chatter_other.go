//go:build !linux && !darwin

package usb

import (
	"errors"
	"os"
)

// takeStderr is not possible here.
func takeStderr(*os.File) error { return errors.ErrUnsupported }
