package main

import (
	"os"
	"syscall"
)

// peakMB is the most memory a process held, in MB (10⁶ bytes).
func peakMB(s *os.ProcessState) float64 {
	return float64(s.SysUsage().(*syscall.Rusage).Maxrss) * 1024 / 1e6
}
