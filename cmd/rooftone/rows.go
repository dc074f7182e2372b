package main

import (
	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/site"
)

// showRows prints the terminal's presence map.
func showRows(c *console, s *scan.Survey, l looks, all, brief bool) error {
	o := textOptions(c, s, l, "")
	o.All, o.Brief = all, brief
	return plot.Rows(c.stdout, s, o)
}

// showDetails prints all that is known of a survey's only channel.
func showDetails(c *console, s *scan.Survey, l looks, u site.Units) error {
	return plot.Details(c.stdout, s.Channels[0], s, textOptions(c, s, l, u))
}

func textOptions(c *console, s *scan.Survey, l looks, u site.Units) plot.TextOptions {
	screen := c.screenFor(l)
	return plot.TextOptions{Width: screen.width, UTF8: screen.utf8, Color: screen.colour, ThresholdDB: s.ThresholdDB, Units: u}
}
