package usbtest

import "errors"

// open is not done under Windows, whose libusb is another.
func open(string) (uintptr, error) { return 0, errors.ErrUnsupported }
