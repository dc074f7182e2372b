package site

import (
	"errors"
	"fmt"
	"time"

	"rooftone/scan/internal/linefile"
)

// Lead is what stands between the antenna and the receiver at a house, as it is
// installed: its parts in order from the antenna on, each as it is typed, such as
// "cable rg6:50ft". None is a receiver at the antenna. A later Lead takes an earlier
// one's place.
type Lead struct {
	Time  time.Time
	Parts []string
}

const maxParts = 32 // of a lead

type leadLine struct {
	Kind  string   `json:"kind"`
	Time  string   `json:"time"`
	Parts []string `json:"parts"`
}

func (l Lead) line() (any, error) {
	if l.Time.IsZero() {
		return nil, errors.New("a lead without its time")
	}
	if len(l.Parts) > maxParts {
		return nil, fmt.Errorf("a lead of %d parts: %d are the most", len(l.Parts), maxParts)
	}
	out := leadLine{Kind: "lead", Time: stamp(l.Time), Parts: []string{}}
	for _, p := range l.Parts {
		text, err := oneLine("the part", p, maxName)
		if err != nil {
			return nil, err
		}
		out.Parts = append(out.Parts, text)
	}
	return out, nil
}

func (d *decoder) lead(l leadLine) error {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil {
		return errors.New("its time is not RFC 3339")
	}
	if len(l.Parts) > maxParts {
		return fmt.Errorf("it has more than %d parts", maxParts)
	}
	lead := &Lead{Time: at, Parts: []string{}}
	for _, p := range l.Parts {
		lead.Parts = append(lead.Parts, linefile.Printable(p, maxName))
	}
	d.house.Lead = lead
	return nil
}
