//go:build !linux

package main

import "os/exec"

// runPeakMB runs a command; what memory it held is not known here.
func runPeakMB(c *exec.Cmd) (float64, error) { return 0, c.Run() }
