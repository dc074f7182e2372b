package site

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"rooftone/scan/band"
	"rooftone/scan/internal/linefile"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Schema names the file's form. The number rises when a field changes its
// meaning or goes; new fields and kinds come under the same number.
const Schema = "rooftone.house/1"

// What is taken as a record. A file is written by hand, or by nobody's good
// will, as often as by Append.
const (
	maxLine     = 1 << 20 // bytes of one record
	maxChannels = 512     // channels in one mark
	maxName     = 120     // characters of a place, a label, a house's name
	maxNote     = 2000    // characters of a note
	maxSaid     = 400     // characters of a line of evidence or advice
	maxSays     = 20      // such lines, limits or echoes of one channel
	maxRF       = 9999
)

// MaxImportance is the highest importance of a wanted channel.
const MaxImportance = 9

// Header is what a house file begins with.
type Header struct {
	Name    string    // of the house, for people
	Created time.Time // zero: now
	Program string    // name and version of what created it
}

// Record is one line of a house file: a WantChange, a Mark, a TurnRecord, a
// Station, a Learnt, a Setting, a Lead, or a Header, which renames the house.
type Record interface {
	// line returns the record as it is written, or says why it cannot be.
	line() (any, error)
}

// WantChange says something about a channel that someone wants to receive.
// What it leaves nil stays as earlier records said.
type WantChange struct {
	Time       time.Time
	RFChannel  int
	Wanted     *bool   // false: not wanted any more; nil: wanted
	Label      *string // what people call it
	Importance *int    // 0 to MaxImportance; see Want
}

// Look says how a mark's figures were measured.
type Look string

const (
	Careful Look = "careful" // by a visit to each channel, as a sweep makes it
	Live    Look = "live"    // the live meter's reading of one moment
	Turned  Look = "turn"    // the peak of a fit to a turn
)

// Mark is one measurement at one place.
type Mark struct {
	Time  time.Time
	Place string
	// BearingDeg is where the antenna points, in degrees clockwise from north,
	// 0 to 360. Whether that is true or magnetic north is the house's own
	// choice, House.North: it is kept as given.
	BearingDeg *float64
	HeightM    *float64 // of the antenna, in metres, from wherever the house counts
	Note       string

	Look        Look   // "" where the file does not say, as before there was a choice
	Program     string // name and version of what measured
	Source      string // where the samples came from
	ThresholdDB float64
	Clock       *measure.Estimate // the radio's error, ppm; Sigma 0 when it was given
	Interrupted bool              // the measurement was cut short

	Heard []Heard // one a channel that was measured
}

// Heard is one channel at one mark. A value that was not measured is nil.
type Heard struct {
	RFChannel    int
	Presence     measure.Presence
	Grade        verdict.Grade
	Standard     measure.Standard
	Margin       *measure.Estimate // dB
	MarginMethod measure.MarginMethod
	CN           *measure.Estimate // dB
	MER          *measure.Estimate // dB
	Power        *measure.Estimate // dBFS
	Tilt         *measure.Estimate // dB across the channel
	Ripple       *measure.Estimate // dB
	Limits       []verdict.Limit
	Evidence     []string // one line for each of Limits; nil in files of earlier versions
	Advice       []string // what to try, the cheapest first
	Echoes       []measure.Echo
	EchoCost     *measure.Estimate // dB of margin
	UnderCost    *measure.Estimate // dB of margin
	GainDB       *float64
	Clipped      float64 // share of samples at the converter's rails
	Lost         bool    // samples went missing
	Occupied     bool    // what is there is no television station

	// AtMostDB is, where nothing was heard, the margin in dB from which a station
	// would have been heard with measure.AtMostConfidence; nil where that is not known.
	AtMostDB *float64

	// Of a channel of which a part was heard: how much of it, 0 to 1, and which
	// parts, in Hz. 0 and nil where it was all of it.
	SeenShare float64
	Seen      []band.Span
}

// The records as they are written. Names and rounding are those of the
// program's other JSON; absent is left out.

type headerLine struct {
	Kind    string `json:"kind"`
	Schema  string `json:"schema"`
	Name    string `json:"name"`
	Created string `json:"created,omitempty"`
	Program string `json:"program,omitempty"`
}

type wantLine struct {
	Kind       string  `json:"kind"`
	Time       string  `json:"time,omitempty"`
	RFChannel  int     `json:"rf_channel"`
	Wanted     *bool   `json:"wanted,omitempty"`
	Label      *string `json:"label,omitempty"`
	Importance *int    `json:"importance,omitempty"`
}

type markLine struct {
	Kind        string      `json:"kind"`
	Time        string      `json:"time"`
	Place       string      `json:"place"`
	BearingDeg  *float64    `json:"bearing_deg,omitempty"`
	HeightM     *float64    `json:"height_m,omitempty"`
	Note        string      `json:"note,omitempty"`
	Look        string      `json:"look,omitempty"`
	Program     string      `json:"program,omitempty"`
	Source      string      `json:"source,omitempty"`
	ThresholdDB *float64    `json:"threshold_db,omitempty"`
	PPM         *float64    `json:"ppm,omitempty"`
	PPMSigma    *float64    `json:"ppm_sigma,omitempty"`
	Interrupted bool        `json:"interrupted,omitempty"`
	Channels    []heardLine `json:"channels"`
}

type heardLine struct {
	RFChannel      int        `json:"rf_channel"`
	Presence       string     `json:"presence,omitempty"`
	Grade          string     `json:"grade,omitempty"`
	Standard       string     `json:"standard,omitempty"`
	MarginDB       *float64   `json:"margin_db,omitempty"`
	MarginSigma    *float64   `json:"margin_sigma_db,omitempty"`
	MarginMethod   string     `json:"margin_method,omitempty"`
	CNDB           *float64   `json:"cn_db,omitempty"`
	CNSigma        *float64   `json:"cn_sigma_db,omitempty"`
	MERDB          *float64   `json:"mer_db,omitempty"`
	MERSigma       *float64   `json:"mer_sigma_db,omitempty"`
	PowerDBFS      *float64   `json:"power_dbfs,omitempty"`
	PowerSigma     *float64   `json:"power_sigma_db,omitempty"`
	TiltDB         *float64   `json:"tilt_db,omitempty"`
	TiltSigma      *float64   `json:"tilt_sigma_db,omitempty"`
	RippleDB       *float64   `json:"ripple_db,omitempty"`
	RippleSigma    *float64   `json:"ripple_sigma_db,omitempty"`
	Limits         []string   `json:"limits,omitempty"`
	Evidence       []string   `json:"evidence,omitempty"`
	Advice         []string   `json:"advice,omitempty"`
	Echoes         []echoLine `json:"echoes,omitempty"`
	EchoCostDB     *float64   `json:"echo_cost_db,omitempty"`
	EchoCostSigma  *float64   `json:"echo_cost_sigma_db,omitempty"`
	UnderCostDB    *float64   `json:"under_cost_db,omitempty"`
	UnderCostSigma *float64   `json:"under_cost_sigma_db,omitempty"`
	GainDB         *float64   `json:"gain_db,omitempty"`
	ClippedFrac    *float64   `json:"clipped_fraction,omitempty"`
	LostSamples    bool       `json:"lost_samples,omitempty"`
	Occupied       bool       `json:"occupied,omitempty"`
	AtMostDB       *float64   `json:"margin_at_most_db,omitempty"`

	SeenShare *float64     `json:"seen_share,omitempty"`
	SeenHz    [][2]float64 `json:"seen_hz,omitempty"`
}

type echoLine struct {
	DelayUS    float64 `json:"delay_us"`
	DelaySigma float64 `json:"delay_sigma_us"`
	LevelDB    float64 `json:"level_db"`
	LevelSigma float64 `json:"level_sigma_db"`
	Merged     bool    `json:"merged,omitempty"`
}

type stationLine struct {
	Kind      string   `json:"kind"`
	RFChannel int      `json:"rf_channel"`
	Label     string   `json:"label,omitempty"`
	Latitude  float64  `json:"latitude"`
	Longitude float64  `json:"longitude"`
	ERPKW     *float64 `json:"erp_kw,omitempty"`
	HeightM   *float64 `json:"height_m,omitempty"`
	Shown     string   `json:"shown_channel,omitempty"`
}

func (h Header) line() (any, error) {
	name, err := oneLine("the house's name", h.Name, maxName)
	if err != nil {
		return nil, err
	}
	program, err := oneLine("the program's name", h.Program, maxName)
	if err != nil {
		return nil, err
	}
	created := h.Created
	if created.IsZero() {
		created = time.Now()
	}
	return headerLine{"house", Schema, name, stamp(created), program}, nil
}

func (w WantChange) line() (any, error) {
	if err := checkRF(w.RFChannel); err != nil {
		return nil, err
	}
	l := wantLine{Kind: "want", RFChannel: w.RFChannel, Wanted: w.Wanted, Importance: w.Importance}
	if !w.Time.IsZero() {
		l.Time = stamp(w.Time)
	}
	if w.Label != nil {
		label, err := oneLine("the label", *w.Label, maxName)
		if err != nil {
			return nil, err
		}
		l.Label = &label
	}
	if i := w.Importance; i != nil && (*i < 0 || *i > MaxImportance) {
		return nil, fmt.Errorf("an importance of %d: it is a whole number from 0 to %d", *i, MaxImportance)
	}
	return l, nil
}

func (m Mark) line() (any, error) {
	place, err := oneLine("the place", m.Place, maxName)
	if err != nil {
		return nil, err
	}
	if place == "" {
		return nil, errors.New("a mark without the name of a place")
	}
	if m.Time.IsZero() {
		return nil, errors.New("a mark without its time")
	}
	note, err := oneLine("the note", m.Note, maxNote)
	if err != nil {
		return nil, err
	}
	if b := m.BearingDeg; b != nil && !(*b >= 0 && *b <= 360) {
		return nil, fmt.Errorf("a bearing of %g°: it lies between 0 and 360", *b)
	}
	if h := m.HeightM; h != nil && !(math.Abs(*h) <= maxHeightM) {
		return nil, fmt.Errorf("a height of %g m", *h)
	}
	l := markLine{
		Kind: "mark", Time: stamp(m.Time), Place: place, Note: note, Look: linefile.Printable(string(m.Look), maxName),
		Program: linefile.Printable(m.Program, maxName), Source: linefile.Printable(m.Source, maxNote),
		ThresholdDB: round(m.ThresholdDB, 100), Interrupted: m.Interrupted,
		Channels: make([]heardLine, 0, len(m.Heard)),
	}
	if m.BearingDeg != nil {
		l.BearingDeg = round(*m.BearingDeg, 10)
	}
	if m.HeightM != nil {
		l.HeightM = round(*m.HeightM, 100)
	}
	l.PPM, l.PPMSigma = split(m.Clock, 1000)
	for i := range m.Heard {
		if err := checkRF(m.Heard[i].RFChannel); err != nil {
			return nil, err
		}
		l.Channels = append(l.Channels, m.Heard[i].line())
	}
	if len(l.Channels) > maxChannels {
		return nil, fmt.Errorf("a mark with %d channels: %d are the most", len(l.Channels), maxChannels)
	}
	return l, nil
}

func (h *Heard) line() heardLine {
	l := heardLine{
		RFChannel: h.RFChannel, Presence: string(h.Presence), Grade: string(h.Grade),
		Standard: string(h.Standard), MarginMethod: string(h.MarginMethod), LostSamples: h.Lost,
	}
	l.MarginDB, l.MarginSigma = split(h.Margin, 100)
	l.CNDB, l.CNSigma = split(h.CN, 100)
	l.MERDB, l.MERSigma = split(h.MER, 100)
	l.PowerDBFS, l.PowerSigma = split(h.Power, 100)
	l.TiltDB, l.TiltSigma = split(h.Tilt, 100)
	l.RippleDB, l.RippleSigma = split(h.Ripple, 100)
	l.EchoCostDB, l.EchoCostSigma = split(h.EchoCost, 100)
	l.UnderCostDB, l.UnderCostSigma = split(h.UnderCost, 100)
	for _, x := range h.Limits {
		l.Limits = append(l.Limits, string(x))
	}
	l.Evidence, l.Advice = said(h.Evidence), said(h.Advice)
	l.Echoes = echoLines(h.Echoes)
	if h.GainDB != nil {
		l.GainDB = round(*h.GainDB, 10)
	}
	if h.Clipped > 0 {
		l.ClippedFrac = round(h.Clipped, 1e6)
	}
	if h.SeenShare > 0 {
		l.SeenShare = round(h.SeenShare, 1000)
	}
	l.SeenHz, l.Occupied = seenPairs(h.Seen), h.Occupied
	if h.AtMostDB != nil && !math.IsNaN(*h.AtMostDB) && !math.IsInf(*h.AtMostDB, 0) {
		most := math.Ceil(*h.AtMostDB*10) / 10
		l.AtMostDB = &most
	}
	return l
}

// said makes lines fit to be kept.
func said(lines []string) (out []string) {
	for _, l := range lines[:min(len(lines), maxSays)] {
		out = append(out, linefile.Printable(l, maxSaid))
	}
	return out
}

func echoLines(list []measure.Echo) (out []echoLine) {
	for _, e := range list[:min(len(list), maxSays)] {
		delay, delaySigma := split(&e.DelayUS, 1000)
		level, levelSigma := split(&e.LevelDB, 100)
		if delay != nil && level != nil {
			out = append(out, echoLine{*delay, *delaySigma, *level, *levelSigma, e.Merged})
		}
	}
	return out
}

func (s Station) line() (any, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	label, err := oneLine("the label", s.Label, maxName)
	if err != nil {
		return nil, err
	}
	return stationLine{"station", s.RFChannel, label, s.At.LatDeg, s.At.LonDeg, s.ERPKW, s.HeightM, s.Shown}, nil
}

// encode writes a record as the line it will be, with its line feed.
func encode(r Record) ([]byte, error) {
	fields, err := r.line()
	if err != nil {
		return nil, err
	}
	b, err := json.Marshal(fields)
	if err != nil {
		return nil, err
	}
	if len(b) >= maxLine {
		return nil, fmt.Errorf("a record of %d bytes: %d are the most", len(b), maxLine)
	}
	return append(b, '\n'), nil
}

// stamp writes a time as the file has it.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// round rounds to 1/per, and returns nil for what JSON cannot hold.
func round(v, per float64) *float64 {
	if v = math.Round(v*per)/per + 0; math.IsNaN(v) || math.IsInf(v, 0) { // + 0 turns −0 into 0
		return nil
	}
	return &v
}

// split rounds an estimate for the file.
func split(e *measure.Estimate, per float64) (value, sigma *float64) {
	if e == nil {
		return nil, nil
	}
	value, sigma = round(e.Value, per), round(e.Sigma, per)
	if value == nil || sigma == nil {
		return nil, nil
	}
	return value, sigma
}

func checkRF(n int) error {
	if n < 1 || n > maxRF {
		return fmt.Errorf("there is no RF channel %d", n)
	}
	return nil
}

// oneLine joins runs of white space into single blanks, and refuses what a
// terminal or a page should not be sent.
func oneLine(what, s string, limit int) (string, error) {
	s = strings.Join(strings.Fields(s), " ")
	if !utf8.ValidString(s) {
		return "", fmt.Errorf("%s is not text in UTF-8", what)
	}
	for _, r := range s {
		if !unicode.IsPrint(r) {
			return "", fmt.Errorf("%s has a character that cannot be printed (%U)", what, r)
		}
	}
	if n := utf8.RuneCountInString(s); n > limit {
		return "", fmt.Errorf("%s has %d characters: %d are the most", what, n, limit)
	}
	return s, nil
}
