//go:build !linux && !darwin

package usb

// overhear calls f. Here nobody listens to what the library prints.
func overhear(f func()) string {
	f()
	return ""
}
