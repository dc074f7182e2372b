//go:build linux || darwin

package usb

import (
	"errors"
	"os"
	"runtime"
	"syscall"
	"unsafe"

	"github.com/ebitengine/purego"
)

// takeStderr has what C code prints on its standard error stream go to a file
// instead: the variable stderr of the C library points to another stream then. The
// process's descriptor 2, which is Go's, stays what it is.
func takeStderr(to *os.File) error {
	var fdopen func(fd int32, mode string) uintptr
	var setvbuf func(stream, buf uintptr, mode int32, size uintptr) int32
	for name, fn := range map[string]any{"fdopen": &fdopen, "setvbuf": &setvbuf} {
		sym, err := purego.Dlsym(purego.RTLD_DEFAULT, name)
		if err != nil {
			return err
		}
		purego.RegisterFunc(fn, sym)
	}
	name := "stderr"
	if runtime.GOOS == "darwin" {
		name = "__stderrp"
	}
	variable, err := purego.Dlsym(purego.RTLD_DEFAULT, name)
	if err != nil {
		return err
	}
	fd, err := syscall.Dup(int(to.Fd()))
	if err != nil {
		return err
	}
	syscall.CloseOnExec(fd)
	stream := fdopen(int32(fd), "w")
	if stream == 0 {
		syscall.Close(fd)
		return errors.New("fdopen failed")
	}
	const unbuffered = 2 // _IONBF
	setvbuf(stream, 0, unbuffered, 0)
	**(**uintptr)(unsafe.Pointer(&variable)) = stream // variable is its address
	return nil
}
