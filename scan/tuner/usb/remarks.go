package usb

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"sync/atomic"
)

// unlocked is what librtlsdr prints, and all that it does, when the tuner's loop does
// not lock: the command is reported as a success.
const unlocked = "PLL not locked"

// remarks are how the lines begin that librtlsdr prints of what goes well, and of what
// its codes say too.
var remarks = [...]string{
	"Found ", "Allocating ", "Exact sample rate is", "Enabled direct sampling", "Disabled direct sampling",
	"Detach", "Reattach", "Resetting device", "No supported tuner found",
	"[R82XX] ", "[E4K] ", "[FC2580] ", "r82xx_", "rtlsdr_",
	"cb transfer status", "usb_open error", "Please fix the device permissions", "usb_claim_interface error",
	"Failed to submit transfer", "Please increase your allowed", "echo 0 > /sys/module/usbcore",
	"Kernel driver is active", "In the first case, please", "(dvb_usb_rtl28xxu)", "detaching at compile time",
}

// listener hears what C code in this process prints on its standard error stream.
// What is not one of the library's remarks it passes on.
type listener struct {
	in       io.Writer
	unlocked atomic.Int64 // how often the library said so

	mu    sync.Mutex // held by who waits for a mark
	marks chan struct{}
}

// listening returns the process's listener, nil where there is none: a process has one
// such stream.
var listening = sync.OnceValue(func() *listener {
	out, in, err := os.Pipe()
	if err != nil {
		return nil
	}
	if err := takeStderr(in); err != nil {
		out.Close()
		in.Close()
		return nil
	}
	l := &listener{in: in, marks: make(chan struct{})}
	go l.hear(out, os.Stderr)
	return l
})

// mark is a line that nobody else prints.
const mark = "\x00mark\x00"

func (l *listener) hear(from io.Reader, passOn io.Writer) {
	for in := bufio.NewReader(from); ; {
		line, err := in.ReadString('\n')
		if err != nil {
			return
		}
		switch line = strings.TrimSpace(line); {
		case line == mark:
			l.marks <- struct{}{}
		case strings.Contains(line, unlocked):
			l.unlocked.Add(1)
		case line != "" && !remark(line):
			fmt.Fprintln(passOn, line)
		}
	}
}

func remark(line string) bool {
	for _, r := range remarks {
		if strings.HasPrefix(line, r) {
			return true
		}
	}
	return false
}

// heeding carries a command out. It reports whether the tuner's loop failed to lock,
// as far as the library says so. One command is heeded at a time.
func heeding(command func() int32) (rc int32, lost bool) {
	l := listening()
	if l == nil {
		return command(), false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	before := l.soFar()
	rc = command()
	return rc, l.soFar() > before
}

// soFar returns how often the library has said that there was no lock, of all that was
// printed until now: that is in the pipe, before the mark.
func (l *listener) soFar() int64 {
	if _, err := io.WriteString(l.in, "\n"+mark+"\n"); err == nil {
		<-l.marks
	}
	return l.unlocked.Load()
}

// unlockedError is a frequency at which the tuner's loop does not lock.
type unlockedError struct{ hz uint32 }

func (e *unlockedError) Error() string {
	return fmt.Sprintf("the tuner does not lock at %.3f MHz", float64(e.hz)/1e6)
}
