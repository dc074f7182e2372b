package main

import (
	"fmt"
	"slices"
	"strings"

	"rooftone/scan/recording"
)

// tellNames says what was taken from the recordings' names.
func (c *console) tellNames(readers []*recording.Reader) {
	var formats, rates, centers, named []string
	for _, r := range readers {
		h := r.Named()
		if h == (recording.Hints{}) {
			continue
		}
		named = append(named, r.Info().Name)
		formats = taken(formats, h.Format)
		if h.RateHz != 0 {
			rates = taken(rates, fmt.Sprintf("%.9g", h.RateHz/1e6))
		}
		if h.CenterHz != 0 {
			centers = taken(centers, fmt.Sprintf("%.9g", h.CenterHz/1e6))
		}
	}
	if len(named) == 0 {
		return
	}
	var parts []string
	if len(formats) > 0 {
		parts = append(parts, enumerated(formats))
	}
	if len(rates) > 0 {
		parts = append(parts, enumerated(rates)+" MS/s")
	}
	if len(centers) > 0 {
		parts = append(parts, "the middle at "+enumerated(centers)+" MHz")
	}
	who := named[0] + ": taken from its name"
	if len(named) > 1 {
		who = fmt.Sprintf("taken from the names of %d recordings", len(named))
	}
	c.note("%s: %s", who, strings.Join(parts, ", "))
}

// taken adds a word to those that are not empty and not there already.
func taken(list []string, word string) []string {
	if word == "" || slices.Contains(list, word) {
		return list
	}
	return append(list, word)
}

// enumerated writes a list as a part of a sentence, cut short where it is long.
func enumerated(words []string) string {
	const most = 8
	switch n := len(words); {
	case n == 1:
		return words[0]
	case n > most:
		return strings.Join(words[:most-1], ", ") + fmt.Sprintf(" and %d more", n-most+1)
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// tellScale says where full scale was found in the values themselves.
func (c *console) tellScale(readers []*recording.Reader) {
	var names []string
	var full, largest float64
	for _, r := range readers {
		if f, l := r.FullScale(); f != 1 {
			names, full, largest = append(names, r.Info().Name), f, max(largest, l)
		}
	}
	if len(names) > 0 {
		c.note("%s: values reach %.3g, so %.6g is taken for full scale, and dBFS count from there", inFew(names), largest, full)
	}
}

// inFew names recordings in a line.
func inFew(names []string) string {
	if len(names) > 2 {
		return fmt.Sprintf("%s and %d more", names[0], len(names)-1)
	}
	return strings.Join(names, " and ")
}
