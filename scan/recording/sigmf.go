package recording

import (
	"context"
	"crypto/sha512"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/scan/character"
	"rooftone/scan/tuner"
)

// newSigMF makes the Reader of a SigMF recording from its two files.
func newSigMF(path string, m *metadata, data dataset, h Hints) (*Reader, error) {
	named, err := m.fill(path, h)
	if err != nil {
		return nil, err
	}
	spans, have, promised, err := m.layout(data.size())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	r := newReader(path, m.format, data, spans)
	if promised > have {
		r.cut = &TruncatedError{path, promised, have}
	}
	if len(spans) == 0 {
		if r.cut != nil {
			return nil, r.cut
		}
		return nil, fmt.Errorf("%s: holds no samples", path)
	}
	r.meta = m.meta()
	r.meta.Radio, r.radioError = m.radio()
	r.named = named
	r.own = strings.HasPrefix(r.meta.Recorder, program)
	r.info.Clock = r.meta.Clock
	if m.global.SHA512 != nil {
		r.sha512 = strings.ToLower(*m.global.SHA512)
	}
	return r, nil
}

// fill sets what the metadata leave open from the hints or else from the file's
// name, and returns what came from that.
func (m *metadata) fill(path string, h Hints) (named Hints, err error) {
	if rate := m.global.SampleRate; rate != nil && h.RateHz != 0 && h.RateHz != *rate {
		return named, fmt.Errorf("%s: was recorded at %g MS/s: leave out --rate", path, *rate/1e6)
	}
	open := false
	for _, c := range m.captures {
		open = open || c.frequencyHz == 0
	}
	if first := m.captures[0].frequencyHz; !open && h.CenterHz != 0 && (len(m.captures) > 1 || first != h.CenterHz) {
		return named, fmt.Errorf("%s: tells its centre frequency, %.0f Hz for a start: leave out --center", path, first)
	}
	known := Hints{m.format.name, h.RateHz, h.CenterHz}
	if m.global.SampleRate != nil {
		known.RateHz = *m.global.SampleRate
	}
	if !open {
		known.CenterHz = m.captures[0].frequencyHz
	}
	told, err := ParseName(path, known)
	if err != nil {
		return named, err
	}
	if wants := told.missing(); len(wants) > 0 {
		return named, &MissingError{path, wants}
	}
	m.global.SampleRate = &told.RateHz
	for i := range m.captures {
		if m.captures[i].frequencyHz == 0 {
			m.captures[i].frequencyHz = told.CenterHz
		}
	}
	return told.without(known), nil
}

// layout finds the place of each capture in a dataset of the given length, and
// how many samples are there and how many were promised. It leaves out
// captures without samples.
func (m *metadata) layout(size int64) (spans []span, have, promised int64, err error) {
	var first, headers int64
	bytes := m.format.size()
	if o := m.global.Offset; o != nil {
		first = int64(*o) // core:offset: the index of the dataset's first sample
	}
	end := size
	if t := m.global.TrailingBytes; t != nil {
		end = max(0, size-int64(*t))
	}
	promised = max(0, m.reach-first)
	for i, c := range m.captures {
		at := c.sampleStart - first
		if at < 0 {
			return nil, 0, 0, fmt.Errorf("captures[%d]: core:sample_start %d lies before core:offset %d", i, c.sampleStart, first)
		}
		if headers > math.MaxInt64-c.headerBytes || at > (math.MaxInt64-headers-c.headerBytes)/bytes {
			return nil, 0, 0, fmt.Errorf("captures[%d]: core:sample_start %d with its headers lies beyond any file", i, c.sampleStart)
		}
		headers += c.headerBytes
		offset := at*bytes + headers
		promised = max(promised, at)
		left := max(0, end-offset)
		count := left / bytes
		if i+1 < len(m.captures) {
			count = min(count, m.captures[i+1].sampleStart-c.sampleStart)
		} else if left%bytes != 0 {
			promised = max(promised, at+count+1) // a part of a sample
		}
		if count == 0 {
			continue
		}
		have = at + count
		spans = append(spans, span{
			Span: Span{tuner.Stay{
				CenterHz: c.frequencyHz,
				RateHz:   *m.global.SampleRate,
				GainDB:   c.gainDB,
				Start:    c.start,
			}, count},
			first:  at,
			offset: offset,
			lost:   c.lost || i > 0 && skips(m.captures[i-1], c),
		})
	}
	return spans, have, promised, nil
}

// skips tells whether core:global_index shows that samples were lost between
// two captures at one frequency. Between two frequencies it shows the settling.
func skips(a, b capture) bool {
	from := a.globalIndex
	if from < 0 {
		from = a.sampleStart // as the standard says where it is not given
	}
	return b.globalIndex >= 0 && a.frequencyHz == b.frequencyHz &&
		b.globalIndex-from > b.sampleStart-a.sampleStart
}

// meta boils the metadata down to what they tell of the recording's making.
func (m *metadata) meta() Meta {
	g := &m.global
	out := Meta{
		Datatype:    m.format.name,
		Hardware:    g.Hardware,
		Recorder:    g.Recorder,
		Author:      g.Author,
		Description: g.Description,
		License:     g.License,
	}
	if hz := g.ReferenceHz; hz != nil && *hz > 0 && *hz < 1e12 {
		out.Clock.ReferenceHz = *hz
	}
	if p := m.place; p != nil && len(p.Coordinates) >= 2 {
		out.Position = &Position{LongitudeDeg: p.Coordinates[0], LatitudeDeg: p.Coordinates[1]}
		if len(p.Coordinates) > 2 {
			out.Position.AltitudeM = &p.Coordinates[2]
		}
	}
	a := Antenna{
		Type:         g.AntennaType,
		GainDBi:      g.AntennaGain,
		CableLossDB:  g.AntennaCableLoss,
		HeightM:      g.AntennaHeight,
		BearingDeg:   m.azimuth,
		ElevationDeg: m.elevation,
		Polarization: m.polarization,
	}
	if g.AntennaModel != nil && *g.AntennaModel != unknownModel {
		a.Model = *g.AntennaModel
	}
	if a != (Antenna{}) {
		out.Antenna = &a
	}
	return out
}

// radio reads what the metadata keep of the radio; nil where that is nothing.
func (m *metadata) radio() (*character.Character, error) {
	text := m.global.Radio
	if len(text) == 0 || string(text) == "null" {
		return nil, nil
	}
	c, err := character.Parse(text)
	if err != nil {
		return nil, fmt.Errorf("rooftone:radio: %w", err)
	}
	return c, nil
}

// ErrNoChecksum is what Verify returns for a recording without a checksum.
var ErrNoChecksum = errors.New("the recording has no checksum")

// Verify reads the whole dataset and compares it with core:sha512. It leaves
// the Reader where it is. A mismatch is a *ChecksumError, and so is a compressed
// archive that did not unpack whole.
func (r *Reader) Verify(ctx context.Context) error {
	if r.unpacked != nil {
		return &ChecksumError{Path: r.path}
	}
	file, ok := r.data.(*fileData)
	if !ok || r.sha512 == "" {
		return fmt.Errorf("%s: %w", r.path, ErrNoChecksum)
	}
	sum := sha512.New()
	b := make([]byte, 256<<10)
	for at := int64(0); at < file.length; {
		n, err := file.readAt(ctx, b, at)
		sum.Write(b[:n])
		at += int64(n)
		if err != nil && !(errors.Is(err, io.EOF) && at == file.length) {
			return fmt.Errorf("verifying %s: %w", r.path, err)
		}
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != r.sha512 {
		return &ChecksumError{r.path, r.sha512, got}
	}
	return nil
}
