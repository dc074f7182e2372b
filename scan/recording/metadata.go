package recording

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// What a SigMF metadata file may hold before it is refused. A recording of a
// hundred sweeps stays far below.
const (
	maxMetaBytes = 64 << 20
	maxPartBytes = 1 << 20 // of one capture, one annotation, the global object
	// What is written of a radio leaves room for the rest of the global object.
	maxCharacterBytes = 256 << 10
	maxCaptures       = 100_000
	maxGainDB         = 200
)

// A capture is a captureObject checked and boiled down.
type capture struct {
	sampleStart int64
	headerBytes int64
	globalIndex int64     // −1: not given
	frequencyHz float64   // 0: not given
	gainDB      float64   // NaN: not given
	start       time.Time // zero: not given
	lost        bool
}

// metadata is a SigMF metadata file as far as it matters here.
type metadata struct {
	global   globalObject
	format   format
	captures []capture
	reach    int64 // the sample index that annotations reach up to

	// Where and how, from wherever in the file it stands first.
	place                *point
	azimuth, elevation   *float64
	polarization         string
	seenGlobal, seenCaps bool
}

// parseMetadata reads a SigMF metadata file. It keeps only what is needed, so
// that a long list of annotations costs no memory.
func parseMetadata(r io.Reader) (*metadata, error) {
	limit := &partReader{r: skipBOM(r), total: maxMetaBytes, part: maxPartBytes}
	dec := json.NewDecoder(limit)
	m := &metadata{}
	if err := expect(dec, json.Delim('{')); err != nil {
		return nil, explain(err, "the metadata")
	}
	for dec.More() {
		limit.part = maxPartBytes
		key, err := dec.Token()
		if err != nil {
			return nil, explain(err, "the metadata")
		}
		if err := m.parseSection(dec, limit, key); err != nil {
			return nil, err
		}
	}
	if err := expect(dec, json.Delim('}')); err != nil {
		return nil, explain(err, "the metadata")
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("the metadata go on behind their closing brace")
	}
	if !m.seenGlobal {
		return nil, errors.New("the metadata lack their global object")
	}
	if len(m.captures) == 0 {
		// As the standard says of an empty list.
		m.captures = []capture{{globalIndex: -1, gainDB: math.NaN()}}
	}
	return m, nil
}

func (m *metadata) parseSection(dec *json.Decoder, limit *partReader, key json.Token) error {
	switch key {
	case "global":
		if m.seenGlobal {
			return errors.New(`the metadata have "global" twice`)
		}
		m.seenGlobal = true
		if err := dec.Decode(&m.global); err != nil {
			return explain(err, "global")
		}
		return m.checkGlobal()
	case "captures":
		if m.seenCaps {
			return errors.New(`the metadata have "captures" twice`)
		}
		m.seenCaps = true
		return eachElement(dec, limit, "captures", m.addCapture)
	case "annotations":
		return eachElement(dec, limit, "annotations", m.addAnnotation)
	}
	var ignored json.RawMessage
	return explain(dec.Decode(&ignored), "the metadata")
}

// eachElement decodes a list one element at a time.
func eachElement[T any](dec *json.Decoder, limit *partReader, name string, add func(T, string) error) error {
	if err := expect(dec, json.Delim('[')); err != nil {
		return explain(err, name)
	}
	for i := 0; dec.More(); i++ {
		limit.part = maxPartBytes
		var v T
		where := fmt.Sprintf("%s[%d]", name, i)
		if err := dec.Decode(&v); err != nil {
			return explain(err, where)
		}
		if err := add(v, where); err != nil {
			return err
		}
	}
	return explain(expect(dec, json.Delim(']')), name)
}

// expect reads the bracket that opens or closes an object or a list.
func expect(dec *json.Decoder, want json.Delim) error {
	tok, err := dec.Token()
	if err != nil {
		return err
	}
	if tok != want {
		return fmt.Errorf("no %v where one should be", want)
	}
	return nil
}

// explain says in our words what encoding/json found at a place in the file.
func explain(err error, where string) error {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &kind) && kind.Field != "":
		return fmt.Errorf("%s: %s cannot be a %s", where, kind.Field, short(kind.Value))
	case errors.As(err, &kind):
		return fmt.Errorf("%s cannot be a %s", where, short(kind.Value))
	case errors.As(err, &syntax):
		return fmt.Errorf("%s: not JSON at byte %d: %w", where, syntax.Offset, err)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("%s: the JSON ends in the middle", where)
	}
	return fmt.Errorf("%s: %w", where, err)
}

func (m *metadata) checkGlobal() error {
	g := &m.global
	if g.Datatype == nil {
		return errors.New("the metadata lack core:datatype")
	}
	var err error
	if m.format, err = parseFormat(*g.Datatype); err != nil {
		return fmt.Errorf("core:datatype: %w", err)
	}
	if n := g.NumChannels; n != nil && *n != 1 {
		return fmt.Errorf("core:num_channels is %d: only recordings of one channel can be used", *n)
	}
	for _, e := range g.Extensions {
		switch e.Name {
		case "antenna", "capture_details", ourExtension:
		default:
			if !e.Optional {
				return fmt.Errorf("needs the SigMF extension %q, which is not known here", short(e.Name))
			}
		}
	}
	for _, f := range []struct {
		name  string
		value *index
	}{{"core:offset", g.Offset}, {"core:trailing_bytes", g.TrailingBytes}} {
		if f.value != nil && *f.value < 0 {
			return fmt.Errorf("%s is %d: it cannot be negative", f.name, *f.value)
		}
	}
	if hz := g.SampleRate; hz != nil {
		if err := checkRate(*hz); err != nil {
			return fmt.Errorf("core:sample_rate: %w", err)
		}
	}
	if d := g.Dataset; d != nil && (*d == "" || *d == "." || *d == ".." || strings.ContainsAny(*d, "/\\\x00")) {
		return fmt.Errorf("core:dataset %q is not the name of a file beside the metadata", short(*d))
	}
	m.place = g.Geolocation
	return nil
}

func (m *metadata) addCapture(o captureObject, where string) error {
	if len(m.captures) >= maxCaptures {
		return fmt.Errorf("has more than %d captures", maxCaptures)
	}
	if o.SampleStart == nil || *o.SampleStart < 0 {
		return fmt.Errorf("%s: core:sample_start is missing or negative", where)
	}
	c := capture{sampleStart: int64(*o.SampleStart), globalIndex: -1, gainDB: math.NaN(), lost: o.Lost}
	if n := len(m.captures); n > 0 && c.sampleStart <= m.captures[n-1].sampleStart {
		return fmt.Errorf("%s: core:sample_start %d does not come after that of the capture before, %d",
			where, c.sampleStart, m.captures[n-1].sampleStart)
	}
	if o.HeaderBytes != nil {
		if c.headerBytes = int64(*o.HeaderBytes); c.headerBytes < 0 {
			return fmt.Errorf("%s: core:header_bytes is negative", where)
		}
	}
	if o.GlobalIndex != nil {
		if c.globalIndex = int64(*o.GlobalIndex); c.globalIndex < 0 {
			return fmt.Errorf("%s: core:global_index is negative", where)
		}
	}
	// Some recorders write 0 for a frequency that they do not know.
	if hz := o.Frequency; hz != nil && *hz != 0 {
		if err := checkCenter(*hz); err != nil {
			return fmt.Errorf("%s: core:frequency: %w", where, err)
		}
		c.frequencyHz = *hz
	}
	for _, g := range []*float64{o.Gain, o.DetailsGain} {
		if g == nil {
			continue
		}
		if c.gainDB = *g; math.Abs(c.gainDB) > maxGainDB {
			return fmt.Errorf("%s: a gain of %g dB is absurd", where, c.gainDB)
		}
	}
	if o.Datetime != nil {
		t, err := parseTime(*o.Datetime)
		if err != nil {
			return fmt.Errorf("%s: core:datetime %q is not a time such as 2026-03-05T18:00:00Z", where, short(*o.Datetime))
		}
		c.start = t
	}
	if m.place == nil {
		m.place = o.Geolocation
	}
	m.captures = append(m.captures, c)
	return nil
}

func (m *metadata) addAnnotation(o annotationObject, where string) error {
	if o.SampleStart == nil || *o.SampleStart < 0 {
		return fmt.Errorf("%s: core:sample_start is missing or negative", where)
	}
	if o.SampleCount != nil {
		if *o.SampleCount < 0 || *o.SampleCount > math.MaxInt64-*o.SampleStart {
			return fmt.Errorf("%s: core:sample_count %d is absurd", where, *o.SampleCount)
		}
		m.reach = max(m.reach, int64(*o.SampleStart+*o.SampleCount))
	}
	if m.azimuth == nil {
		m.azimuth = o.Azimuth
	}
	if m.elevation == nil {
		m.elevation = o.Elevation
	}
	if m.polarization == "" {
		m.polarization = o.Polarization
	}
	return nil
}

// parseTime reads an RFC 3339 time, also with a leap second, and also one that
// lacks its zone, which some recorders leave out: it is UTC.
func parseTime(s string) (time.Time, error) {
	leap := time.Duration(0)
	if len(s) >= 19 && s[17:19] == "60" {
		s, leap = s[:17]+"59"+s[19:], time.Second
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		if t, err = time.Parse("2006-01-02T15:04:05", s); err != nil {
			return time.Time{}, err
		}
	}
	return t.UTC().Add(leap), nil
}

// A partReader bounds what is read in all and, as long as its user resets
// part, at a stretch.
type partReader struct {
	r           io.Reader
	total, part int64
}

func (l *partReader) Read(p []byte) (int, error) {
	if l.total <= 0 {
		return 0, fmt.Errorf("the metadata are larger than %d MiB", maxMetaBytes>>20)
	}
	if l.part <= 0 {
		return 0, fmt.Errorf("is larger than %d KiB", maxPartBytes>>10)
	}
	if most := min(l.total, l.part); int64(len(p)) > most {
		p = p[:most]
	}
	n, err := l.r.Read(p)
	l.total -= int64(n)
	l.part -= int64(n)
	return n, err
}

// skipBOM passes over the byte order mark that some editors put first.
func skipBOM(r io.Reader) io.Reader {
	var head [3]byte
	n, err := io.ReadFull(r, head[:])
	if err == nil && string(head[:]) == "\ufeff" {
		return r
	}
	return io.MultiReader(strings.NewReader(string(head[:n])), r)
}
