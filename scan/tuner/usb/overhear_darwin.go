package usb

import "syscall"

// redirect makes a descriptor mean what another one does.
func redirect(from, to int) error { return syscall.Dup2(from, to) }
