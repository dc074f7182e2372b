package site

import (
	"errors"
	"fmt"
	"time"

	"rooftone/scan/internal/linefile"
)

// About is what is known of a house besides what was measured there: what stands at
// the head of its page.
type About struct {
	Address string // as it is written on a letter, in one line
	By      string // who measured
	Notes   []Remark
}

// Remark is a note about a house, with the time at which it was written; zero where
// the file does not say.
type Remark struct {
	Time time.Time
	Text string
}

// AboutChange says something about a house. What it leaves nil stays as earlier
// records said; a note is added to the earlier ones, and an empty one takes all of
// them away.
type AboutChange struct {
	Time    time.Time
	Address *string
	By      *string
	Note    *string
}

const (
	maxAddress = 300 // characters
	maxRemarks = 50  // notes about a house: the newest
)

type aboutLine struct {
	Kind    string  `json:"kind"`
	Time    string  `json:"time,omitempty"`
	Address *string `json:"address,omitempty"`
	By      *string `json:"by,omitempty"`
	Note    *string `json:"note,omitempty"`
}

func (a AboutChange) line() (any, error) {
	if a.Address == nil && a.By == nil && a.Note == nil {
		return nil, errors.New("a record about the house that says nothing")
	}
	l := aboutLine{Kind: "about"}
	if !a.Time.IsZero() {
		l.Time = stamp(a.Time)
	}
	for _, f := range []struct {
		what     string
		from, to **string
		limit    int
	}{
		{"the address", &a.Address, &l.Address, maxAddress},
		{"the name of who measured", &a.By, &l.By, maxName},
		{"the note", &a.Note, &l.Note, maxNote},
	} {
		if *f.from == nil {
			continue
		}
		text, err := oneLine(f.what, **f.from, f.limit)
		if err != nil {
			return nil, err
		}
		*f.to = &text
	}
	return l, nil
}

func (d *decoder) about(l aboutLine) error {
	var at time.Time
	if l.Time != "" {
		var err error
		if at, err = time.Parse(time.RFC3339, l.Time); err != nil {
			return fmt.Errorf("its time is not RFC 3339: %w", err)
		}
	}
	a := &d.house.About
	if l.Address != nil {
		a.Address = linefile.Printable(*l.Address, maxAddress)
	}
	if l.By != nil {
		a.By = linefile.Printable(*l.By, maxName)
	}
	if l.Note == nil {
		return nil
	}
	text := linefile.Printable(*l.Note, maxNote)
	if text == "" {
		a.Notes = nil
		return nil
	}
	a.Notes = append(a.Notes, Remark{at, text})
	if n := len(a.Notes); n > maxRemarks {
		a.Notes = a.Notes[n-maxRemarks:]
	}
	return nil
}
