package main

import (
	"rooftone/plot"
	"rooftone/scan"
)

// showRows prints the terminal's presence map.
func showRows(c *console, s *scan.Survey, l looks, all bool) error {
	screen := c.screenFor(l)
	return plot.Rows(c.stdout, s, plot.TextOptions{
		Width: screen.width, UTF8: screen.utf8, Color: screen.colour, All: all, ThresholdDB: s.ThresholdDB,
	})
}
