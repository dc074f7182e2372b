package main

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"time"
)

// runPeakMB runs a command and returns the most memory that it held, in MB (10⁶
// bytes). The system's own account of an ended process will not do: it counts
// the program that started it too, up to the moment that it became another.
func runPeakMB(c *exec.Cmd) (float64, error) {
	if err := c.Start(); err != nil {
		return 0, err
	}
	ended := make(chan error, 1)
	go func() { ended <- c.Wait() }()
	peak := 0.
	for {
		select {
		case err := <-ended:
			return peak, err
		case <-time.After(5 * time.Millisecond):
			peak = max(peak, highWaterMB(c.Process.Pid))
		}
	}
}

// highWaterMB is a process's largest resident set so far; 0 when it has ended.
func highWaterMB(pid int) float64 {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	for lines := bufio.NewScanner(bytes.NewReader(status)); lines.Scan(); {
		var kB float64
		if n, _ := fmt.Sscanf(lines.Text(), "VmHWM: %f kB", &kB); n == 1 {
			return kB * 1024 / 1e6
		}
	}
	return 0
}
