package usb

import (
	"fmt"
	"os"
	"strings"
)

// remarks are how the lines begin that librtlsdr prints while it carries a command out.
// Where one fails, its code says as much.
var remarks = [...]string{"Exact sample rate is", "[R82XX] ", "[E4K] ", "[FC2580] ", "r82xx_", "rtlsdr_"}

// unlocked is what librtlsdr prints, and all that it does, when the tuner's loop does
// not lock: the command is reported as a success.
const unlocked = "PLL not locked"

// quietly carries a command out. It reports whether the tuner's loop failed to lock, as
// far as the library says so. Of what was printed meanwhile the library's own remarks
// are dropped, and the rest is passed on.
func quietly(command func() int32) (rc int32, lost bool) {
	said := overhear(func() { rc = command() })
	for line := range strings.Lines(said) {
		lost = lost || strings.Contains(line, unlocked)
		if !remark(line) {
			fmt.Fprint(os.Stderr, line)
		}
	}
	return rc, lost
}

func remark(line string) bool {
	for _, r := range remarks {
		if strings.HasPrefix(line, r) {
			return true
		}
	}
	return false
}

// unlockedError is a frequency at which the tuner's loop does not lock.
type unlockedError struct{ hz uint32 }

func (e *unlockedError) Error() string {
	return fmt.Sprintf("the tuner does not lock at %.3f MHz", float64(e.hz)/1e6)
}
