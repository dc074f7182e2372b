// Package bundle is the field bundle: one file in which somebody with an
// antenna and a television set hands over what both showed, so that verdicts
// can be compared with what a set really does.
//
// # The file
//
// A bundle is a ZIP file of at most MaxBytes with two or three entries at its
// top, each stored or deflated:
//
//	manifest.json     what it is, a Manifest
//	excerpt.sigmf.gz  an excerpt of a visit: a compressed SigMF archive
//	character.json    what was measured of the radio itself; may be missing
//
// Nothing else is allowed in one. The entries have no times of their own.
//
// # What is not in it
//
// No serial number, name, network address, place or path, and no time finer than
// the day, but for what the person typed for it (Typed). What cannot be taken out is
// which channels are on the air and how strong: whoever knows a country's stations can
// tell the region by them, and an excerpt that holds whole channels may hold
// half a second of what they sent.
//
// # Hostile files
//
// Bundles come from strangers. Read bounds what it takes in, before it takes it
// in: the file, its directory, each entry and what the excerpt unpacks to.
// Names in it are compared and never used as paths.
package bundle

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"rooftone/scan"
	"rooftone/scan/band"
)

// Schema is the manifest's version. Fields are only ever added to it.
const Schema = "rooftone.bundle/1"

// Ending is that of a bundle's name.
const Ending = ".zip"

const (
	// DefaultBytes is what a bundle may have unless less is asked for.
	DefaultBytes = 50_000_000
	// MaxBytes is what one may have to be read.
	MaxBytes = 64 << 20
)

const (
	manifestName  = "manifest.json"
	excerptName   = "excerpt.sigmf.gz"
	characterName = "character.json"

	maxManifestBytes  = 256 << 10
	maxCharacterBytes = 1 << 20
	maxTextBytes      = 2000
	maxList           = 200 // channels, gains
	maxWordBytes      = 60  // of a verdict
	maxLimits         = 20
)

// Manifest says what a bundle is. What is not known is null or missing.
type Manifest struct {
	Schema  string  `json:"schema"`  // Schema
	Program string  `json:"program"` // that made it, with its version
	Day     *string `json:"day"`     // of the visit, UTC, such as 2026-03-05

	Radio    Radio   `json:"radio"`
	Plan     string  `json:"plan"`     // the channel plan's name
	Channels []int   `json:"channels"` // RF channels that were visited, ascending
	Facts    Facts   `json:"facts"`
	Typed    Typed   `json:"typed"`
	Verdicts []Judge `json:"verdicts"` // of the program that made it, from the excerpt alone
}

// Radio tells what kind of radio it was, and nothing that tells one of a kind
// from another.
type Radio struct {
	Kind        string    `json:"kind"`             // one of Kinds
	Driver      string    `json:"driver,omitempty"` // SoapySDR's name of the kind
	Datatype    string    `json:"datatype"`         // of its samples, in SigMF's words
	GainsDB     []float64 `json:"gains_db"`         // the steps that it names
	ReferenceHz *float64  `json:"reference_hz"`     // of its oscillator
}

// Kinds are the words for a Radio's Kind.
func Kinds() []string { return []string{"usb", "tcp", "soapy", "sim", "recording"} }

// Facts are what a set does on RF channels that were tried, by somebody who
// looked. What is in no list was not tried.
type Facts struct {
	Shows    []int `json:"shows"`     // a steady picture
	BreaksUp []int `json:"breaks_up"` // it finds the channel, and the picture freezes or falls into blocks
	NotFound []int `json:"not_found"` // it does not find the channel
}

// Typed is what a person typed for the bundle, word for word.
type Typed struct {
	Set        string   `json:"set,omitempty"`     // which television set or tuner
	Antenna    string   `json:"antenna,omitempty"` // which antenna
	Note       string   `json:"note,omitempty"`
	BearingDeg *float64 `json:"bearing_deg,omitempty"` // of the antenna, from true north
	HeightM    *float64 `json:"height_m,omitempty"`    // of the antenna above the ground
}

// Judge is a channel's verdict.
type Judge struct {
	RFChannel   int      `json:"rf_channel"`
	Presence    string   `json:"presence"`
	Standard    string   `json:"standard,omitempty"`
	Grade       string   `json:"grade,omitempty"`
	MarginDB    *float64 `json:"margin_db"`
	MarginSigma *float64 `json:"margin_sigma_db"`
	Limits      []string `json:"limits,omitempty"`
}

// Judged are the verdicts of the channels of which something was heard.
func Judged(s *scan.Survey) []Judge {
	out := []Judge{}
	for i := range s.Channels {
		c := &s.Channels[i]
		if !c.Heard() {
			continue
		}
		j := Judge{RFChannel: c.Channel.Number, Presence: string(c.Presence), Standard: string(c.Standard), Grade: string(c.Grade)}
		if m := c.Margin; m != nil && !math.IsNaN(m.Value) && !math.IsInf(m.Value, 0) {
			j.MarginDB = &m.Value
			if !math.IsNaN(m.Sigma) && !math.IsInf(m.Sigma, 0) {
				j.MarginSigma = &m.Sigma
			}
		}
		for _, r := range c.Reasons {
			j.Limits = append(j.Limits, string(r.Limit))
		}
		out = append(out, j)
	}
	return out
}

// DayOf is the day of a time in UTC, nil where that is not known.
func DayOf(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	day := t.UTC().Format(time.DateOnly)
	return &day
}

// All are the channels of all three lists, ascending.
func (f Facts) All() []int {
	out := slices.Concat(f.Shows, f.BreaksUp, f.NotFound)
	slices.Sort(out)
	return out
}

// Check refuses facts that contradict each other or name no channel.
func (f Facts) Check() error {
	seen := map[int]string{}
	for _, list := range []struct {
		name     string
		channels []int
	}{{"shows", f.Shows}, {"breaks up", f.BreaksUp}, {"not found", f.NotFound}} {
		for _, n := range list.channels {
			if !channelExists(n) {
				return fmt.Errorf("%d is no RF channel", n)
			}
			if other, ok := seen[n]; ok {
				return fmt.Errorf("channel %d stands under %q and under %q", n, other, list.name)
			}
			seen[n] = list.name
		}
	}
	return nil
}

func channelExists(n int) bool {
	return slices.ContainsFunc(band.Plans(), func(p band.Plan) bool { _, ok := p.Channel(n); return ok })
}

// check refuses a manifest that makes no sense, or is of another make.
func (m *Manifest) check() error {
	if m.Schema != Schema {
		return fmt.Errorf("its schema is %.40q, and %s is known here", m.Schema, Schema)
	}
	if m.Day != nil {
		if _, err := time.Parse(time.DateOnly, *m.Day); err != nil {
			return fmt.Errorf("%.40q is no day", *m.Day)
		}
	}
	if !slices.Contains(Kinds(), m.Radio.Kind) {
		return fmt.Errorf("%.40q is no kind of radio", m.Radio.Kind)
	}
	if _, err := band.ParsePlan(m.Plan); err != nil {
		return err
	}
	for _, n := range []int{len(m.Channels), len(m.Facts.All()), len(m.Verdicts), len(m.Radio.GainsDB)} {
		if n > maxList {
			return fmt.Errorf("a list has %d entries, more than %d", n, maxList)
		}
	}
	for _, n := range m.Channels {
		if !channelExists(n) {
			return fmt.Errorf("%d is no RF channel", n)
		}
	}
	if err := m.Facts.Check(); err != nil {
		return fmt.Errorf("its facts: %w", err)
	}
	return m.checkTexts()
}

func (m *Manifest) checkTexts() error {
	for _, text := range []string{m.Program, m.Radio.Driver, m.Radio.Datatype, m.Typed.Set, m.Typed.Antenna, m.Typed.Note} {
		if err := CheckText(text); err != nil {
			return err
		}
	}
	for _, j := range m.Verdicts {
		if len(j.Limits) > maxLimits {
			return fmt.Errorf("a verdict has %d limits, more than %d", len(j.Limits), maxLimits)
		}
		for _, word := range append([]string{j.Presence, j.Standard, j.Grade}, j.Limits...) {
			if len(word) > maxWordBytes {
				return fmt.Errorf("a verdict's word has %d bytes, more than %d", len(word), maxWordBytes)
			}
			if err := CheckText(word); err != nil {
				return err
			}
		}
	}
	return nil
}

// CheckText refuses text that a bundle does not carry.
func CheckText(s string) error {
	switch {
	case len(s) > maxTextBytes:
		return fmt.Errorf("a text has %d bytes, more than %d", len(s), maxTextBytes)
	case !utf8.ValidString(s):
		return errors.New("a text is not UTF-8")
	case strings.ContainsFunc(s, unicode.IsControl):
		return errors.New("a text holds control characters")
	}
	return nil
}

// parseManifest reads a manifest.
func parseManifest(text []byte) (Manifest, error) {
	var m Manifest
	if err := json.Unmarshal(text, &m); err != nil {
		return m, err
	}
	return m, m.check()
}
