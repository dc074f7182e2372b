package site

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"rooftone/scan/internal/linefile"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// line is one line of a file, without its line feed.
type line struct {
	Damage
	text    []byte // valid until the next; nil when longer than maxLine
	whole   bool   // ended by a line feed
	tooLong bool
}

// lines splits a file without ever holding more than maxLine of it.
type lines struct {
	r      *bufio.Reader
	number int
	offset int64
	buffer []byte
}

func (s *lines) next() (line, error) {
	s.number++
	l := line{Damage: Damage{Line: s.number, Offset: s.offset}}
	s.buffer = s.buffer[:0]
	for {
		piece, err := s.r.ReadSlice('\n')
		s.offset += int64(len(piece))
		l.Bytes += int64(len(piece))
		if len(s.buffer)+len(piece) > maxLine+1 {
			l.tooLong = true
		} else {
			s.buffer = append(s.buffer, piece...)
		}
		switch {
		case err == nil:
			l.whole = true
		case err == bufio.ErrBufferFull:
			continue
		case err != io.EOF:
			return line{}, err
		case l.Bytes == 0:
			return line{}, io.EOF
		}
		break
	}
	if !l.tooLong {
		l.text = bytes.TrimSpace(s.buffer)
		if s.number == 1 {
			l.text = bytes.TrimPrefix(l.text, []byte("\ufeff")) // some editors add a byte order mark
		}
	}
	return l, nil
}

// decoder gathers a House line by line.
type decoder struct {
	lines    lines
	records  int
	house    House
	wanted   map[int]*Want
	stations map[stationKey]Station
	known    map[int]Learnt // by RF channel
}

type stationKey struct {
	rf    int
	label string
}

// take adds one line. Only a first record that is no header is an error.
func (d *decoder) take(l line) error {
	if len(l.text) == 0 && !l.tooLong {
		return nil // left by a repair
	}
	d.records++
	var r struct {
		Kind string `json:"kind"`
	}
	switch err := json.Unmarshal(l.text, &r); {
	case l.tooLong:
		l.Reason = fmt.Sprintf("it is longer than %d bytes", maxLine)
	case !json.Valid(l.text):
		l.Reason, l.Torn = "it is not JSON", !l.whole
	case err != nil || r.Kind == "":
		l.Reason = "it has no kind"
	}
	if d.records == 1 && (l.Reason != "" || r.Kind != "house") {
		return fmt.Errorf("its first line is no header: %w", ErrNotHouse)
	}
	if l.Reason == "" {
		err := d.record(r.Kind, l.text)
		if err != nil && (d.records == 1 || errors.Is(err, ErrNewer)) {
			return err
		}
		if err != nil {
			l.Reason = err.Error()
		}
	}
	if l.Reason != "" {
		d.house.Damaged++
		if len(d.house.Damage) < maxDamage {
			d.house.Damage = append(d.house.Damage, l.Damage)
		}
	}
	return nil
}

// checkSchema accepts Schema alone: its number rises when an older reader
// would misread.
func checkSchema(schema string) error {
	if schema == Schema {
		return nil
	}
	if name, _, ok := strings.Cut(schema, "/"); ok && name+"/1" == Schema {
		return fmt.Errorf("its schema is %q, and this program knows %q: %w", linefile.Printable(schema, maxName), Schema, ErrNewer)
	}
	return fmt.Errorf("its schema is %q: %w", linefile.Printable(schema, maxName), ErrNotHouse)
}

// record adds one record to the House.
func (d *decoder) record(kind string, text []byte) error {
	switch kind {
	case "house":
		return decodeAs(text, d.header)
	case "setting":
		return decodeAs(text, d.setting)
	case "want":
		return decodeAs(text, d.want)
	case "mark":
		return decodeAs(text, d.mark)
	case "turn":
		return decodeAs(text, d.turn)
	case "station":
		return decodeAs(text, d.station)
	case "learnt":
		return decodeAs(text, d.learnt)
	case "lead":
		return decodeAs(text, d.lead)
	default:
		d.house.Others++
		return nil
	}
}

func decodeAs[L any](text []byte, add func(L) error) error {
	var l L
	if err := json.Unmarshal(text, &l); err != nil {
		if t := (*json.UnmarshalTypeError)(nil); errors.As(err, &t) {
			return fmt.Errorf("its field %q is no %s", linefile.Printable(t.Field, maxName), t.Type)
		}
		return err
	}
	return add(l)
}

// header takes the file's header, or a later one, which renames the house.
func (d *decoder) header(l headerLine) error {
	if err := checkSchema(l.Schema); err != nil {
		return err
	}
	h := &d.house.Header
	if name := linefile.Printable(l.Name, maxName); name != "" {
		h.Name = name
	}
	if t, err := time.Parse(time.RFC3339, l.Created); err == nil && h.Created.IsZero() {
		h.Created = t
	}
	if h.Program == "" {
		h.Program = linefile.Printable(l.Program, maxName)
	}
	return nil
}

func (d *decoder) want(l wantLine) error {
	if err := checkRF(l.RFChannel); err != nil {
		return err
	}
	if i := l.Importance; i != nil && (*i < 0 || *i > MaxImportance) {
		return fmt.Errorf("its importance is not from 0 to %d", MaxImportance)
	}
	if l.Wanted != nil && !*l.Wanted {
		delete(d.wanted, l.RFChannel)
		return nil
	}
	w := d.wanted[l.RFChannel]
	if w == nil {
		w = &Want{RFChannel: l.RFChannel, Importance: 1}
		d.wanted[l.RFChannel] = w
	}
	if l.Label != nil {
		w.Label = linefile.Printable(*l.Label, maxName)
	}
	if l.Importance != nil {
		w.Importance = *l.Importance
	}
	return nil
}

func (d *decoder) mark(l markLine) error {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil {
		return errors.New("its time is not RFC 3339")
	}
	m := Mark{
		Time: at, Place: linefile.Printable(l.Place, maxName), BearingDeg: l.BearingDeg, HeightM: l.HeightM,
		Note: linefile.Printable(l.Note, maxNote), Look: Look(linefile.Printable(l.Look, maxName)), Program: linefile.Printable(l.Program, maxName),
		Source: linefile.Printable(l.Source, maxNote), Clock: join(l.PPM, l.PPMSigma), Interrupted: l.Interrupted,
	}
	if l.ThresholdDB != nil {
		m.ThresholdDB = *l.ThresholdDB
	}
	if m.Place == "" {
		return errors.New("it names no place")
	}
	if b := m.BearingDeg; b != nil && !(*b >= 0 && *b <= 360) {
		return errors.New("its bearing is not between 0 and 360 degrees")
	}
	if h := m.HeightM; h != nil && !(math.Abs(*h) <= maxHeightM) {
		return errors.New("its height is impossible")
	}
	if len(l.Channels) > maxChannels {
		return fmt.Errorf("it has more than %d channels", maxChannels)
	}
	for i := range l.Channels {
		h, err := l.Channels[i].heard()
		if err != nil {
			return err
		}
		m.Heard = append(m.Heard, h)
	}
	d.house.Marks = append(d.house.Marks, m)
	return nil
}

func (l *heardLine) heard() (Heard, error) {
	if err := checkRF(l.RFChannel); err != nil {
		return Heard{}, err
	}
	h := Heard{
		RFChannel:    l.RFChannel,
		Presence:     measure.Presence(linefile.Printable(l.Presence, maxName)),
		Grade:        verdict.Grade(linefile.Printable(l.Grade, maxName)),
		Standard:     measure.Standard(linefile.Printable(l.Standard, maxName)),
		Margin:       join(l.MarginDB, l.MarginSigma),
		MarginMethod: measure.MarginMethod(linefile.Printable(l.MarginMethod, maxName)),
		CN:           join(l.CNDB, l.CNSigma),
		MER:          join(l.MERDB, l.MERSigma),
		Power:        join(l.PowerDBFS, l.PowerSigma),
		Tilt:         join(l.TiltDB, l.TiltSigma),
		Ripple:       join(l.RippleDB, l.RippleSigma),
		EchoCost:     join(l.EchoCostDB, l.EchoCostSigma),
		UnderCost:    join(l.UnderCostDB, l.UnderCostSigma),
		Evidence:     said(l.Evidence),
		Advice:       said(l.Advice),
		GainDB:       l.GainDB,
		Lost:         l.LostSamples,
	}
	for i, x := range l.Limits {
		if i == maxSays {
			break
		}
		h.Limits = append(h.Limits, verdict.Limit(linefile.Printable(x, maxName)))
	}
	for _, e := range l.Echoes[:min(len(l.Echoes), maxSays)] {
		delay, level := join(&e.DelayUS, &e.DelaySigma), join(&e.LevelDB, &e.LevelSigma)
		if delay != nil && level != nil {
			h.Echoes = append(h.Echoes, measure.Echo{DelayUS: *delay, LevelDB: *level, Merged: e.Merged})
		}
	}
	if c := l.ClippedFrac; c != nil && *c >= 0 && *c <= 1 {
		h.Clipped = *c
	}
	h.Occupied = l.Occupied
	if most := l.AtMostDB; most != nil && math.Abs(*most) <= 400 && h.Presence == measure.Vacant {
		h.AtMostDB = most
	}
	h.readPart(l)
	return h, nil
}

// join makes an estimate of what the file says; values beyond anything that is
// measured count as not measured. A value written by hand may lack its
// uncertainty: Options.RepeatDB then stands for all of it.
func join(value, sigma *float64) *measure.Estimate {
	const most = 1e4
	if value == nil || math.Abs(*value) > most {
		return nil
	}
	e := &measure.Estimate{Value: *value}
	if sigma != nil {
		if !(*sigma >= 0 && *sigma <= most) {
			return nil
		}
		e.Sigma = *sigma
	}
	return e
}

func (d *decoder) station(l stationLine) error {
	s := Station{
		RFChannel: l.RFChannel, Label: linefile.Printable(l.Label, maxName),
		At: Position{l.Latitude, l.Longitude}, ERPKW: l.ERPKW, HeightM: l.HeightM, Shown: l.Shown,
	}
	if err := s.check(); err != nil {
		return err
	}
	d.stations[stationKey{s.RFChannel, s.Label}] = s
	return nil
}

// finish puts what was gathered in order.
func (d *decoder) finish() {
	h := &d.house
	for _, w := range d.wanted {
		h.Wanted = append(h.Wanted, *w)
	}
	slices.SortFunc(h.Wanted, func(a, b Want) int { return a.RFChannel - b.RFChannel })
	for _, s := range d.stations {
		h.Stations = append(h.Stations, s)
	}
	sortStations(h.Stations)
	for _, l := range d.known {
		h.Learnt = append(h.Learnt, l)
	}
	slices.SortFunc(h.Learnt, func(a, b Learnt) int { return a.RFChannel - b.RFChannel })
}
