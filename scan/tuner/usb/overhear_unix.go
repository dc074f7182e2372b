//go:build linux || darwin

package usb

import (
	"io"
	"os"
	"runtime/debug"
	"sync"
	"syscall"
)

// standardError is the descriptor that C's stderr writes to.
const standardError = 2

// overhear calls f, a function of the library, and returns what was printed on the
// standard error stream meanwhile: all that librtlsdr has to say of some failures. One
// call at a time is listened to. What cannot be listened to is called all the same.
func overhear(f func()) string {
	hearing.Lock()
	defer hearing.Unlock()
	out, in, err := os.Pipe()
	if err != nil {
		f()
		return ""
	}
	defer out.Close()
	kept, err := syscall.Dup(standardError)
	if err != nil {
		in.Close()
		f()
		return ""
	}
	syscall.CloseOnExec(kept)
	real := os.NewFile(uintptr(kept), "stderr")
	defer real.Close()
	// Should the program crash meanwhile, that is to be seen.
	debug.SetCrashOutput(real, debug.CrashOptions{})
	defer debug.SetCrashOutput(nil, debug.CrashOptions{})
	err = redirect(int(in.Fd()), standardError)
	in.Close()
	if err != nil {
		f()
		return ""
	}
	f()
	redirect(kept, standardError)
	said, _ := io.ReadAll(io.LimitReader(out, 1<<16)) // a pipe holds no more
	return string(said)
}

// hearing is the process's one standard error stream.
var hearing sync.Mutex
