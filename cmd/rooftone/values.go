package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// number is the flag value of a number between two limits. It points at nil
// until it is given, and after the word "auto" where that is allowed.
type number struct {
	to       **float64
	min, max float64
	unit     string
	auto     bool
}

func (n *number) Type() string { return "" }

func (n *number) String() string {
	switch {
	case n.to != nil && *n.to != nil:
		return strconv.FormatFloat(**n.to, 'g', -1, 64)
	case n.auto:
		return "auto"
	}
	return ""
}

func (n *number) Set(s string) error {
	s = strings.TrimSpace(s)
	if n.auto && s == "auto" {
		*n.to = nil
		return nil
	}
	v, err := parseFinite(s)
	if err != nil {
		if n.auto {
			return fmt.Errorf("%s is neither a number nor auto", quote(s))
		}
		return err
	}
	if v < n.min || v > n.max {
		return fmt.Errorf("%s is outside %v to %v %s", s, n.min, n.max, n.unit)
	}
	*n.to = &v
	return nil
}

func parseFinite(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s is not a number", quote(s))
	}
	return v, nil
}

// hertz is the flag value of a frequency or a rate such as 2400000, 2.4e6,
// 2.4M or 605MHz.
type hertz struct {
	to       **float64
	min, max float64
}

func (h *hertz) Type() string { return "" }

func (h *hertz) String() string {
	if h.to == nil || *h.to == nil {
		return ""
	}
	return strconv.FormatFloat(**h.to, 'f', -1, 64)
}

func (h *hertz) Set(s string) error {
	digits := strings.TrimSpace(s)
	if n := len(digits) - 2; n > 0 && strings.EqualFold(digits[n:], "hz") {
		digits = strings.TrimSpace(digits[:n])
	}
	factor := 1.0
	for suffix, f := range map[string]float64{"k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9} {
		if rest, ok := strings.CutSuffix(digits, suffix); ok {
			digits, factor = strings.TrimSpace(rest), f
			break
		}
	}
	v, err := parseFinite(digits)
	if err != nil {
		return fmt.Errorf("%s is not a frequency: write 2400000, 2.4M or 2.4MHz", quote(s))
	}
	v *= factor
	if v < h.min || v > h.max {
		return fmt.Errorf("%s is outside %g to %g MHz", s, h.min/1e6, h.max/1e6)
	}
	*h.to = &v
	return nil
}

// period is the flag value of a length of time between two limits.
type period struct {
	to       *time.Duration
	min, max time.Duration
}

func (p *period) Type() string { return "" }

func (p *period) String() string {
	if p.to == nil || *p.to == 0 {
		return ""
	}
	return p.to.String()
}

func (p *period) Set(s string) error {
	v, err := time.ParseDuration(strings.TrimSpace(s))
	if err != nil {
		return fmt.Errorf("%s is not a length of time: write 60ms or 0.2s", quote(s))
	}
	if v < p.min || v > p.max {
		return fmt.Errorf("%s is outside %v to %v", s, p.min, p.max)
	}
	*p.to = v
	return nil
}

// choice is the flag value of one of a few words.
type choice struct {
	to    *string
	words []string
	usual string // what to suggest where the words are many; "" suggests all
}

func (c *choice) Type() string { return "" }

func (c *choice) String() string {
	if c.to == nil {
		return ""
	}
	return *c.to
}

func (c *choice) Set(s string) error {
	for _, w := range c.words {
		if s == w {
			*c.to = s
			return nil
		}
	}
	usual := c.usual
	if usual == "" {
		usual = strings.Join(c.words, ", ")
	}
	msg := fmt.Sprintf("%s is not known: use %s", quote(s), usual)
	if near := closest(s, c.words); near != "" {
		msg += fmt.Sprintf(" (did you mean %s?)", near)
	}
	return errors.New(msg)
}

// fileName is the flag value of a file's name.
type fileName struct{ to *string }

func (f *fileName) Type() string { return "" }

func (f *fileName) String() string {
	if f.to == nil {
		return ""
	}
	return *f.to
}

func (f *fileName) Set(s string) error {
	if s == "" {
		return errors.New("the file's name is empty")
	}
	*f.to = s
	return nil
}
