package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"rooftone/scan/tuner"
)

const (
	metaEnding       = ".sigmf-meta"
	dataEnding       = ".sigmf-data"
	archiveEnding    = ".sigmf"
	collectionEnding = ".sigmf-collection"
)

// Hints tell what a recording may not tell itself. A zero field tells nothing.
// One that contradicts the recording is refused; one that its name contradicts
// is believed.
type Hints struct {
	// Format is the sample format, such as "cu8", in a word that ParseFormat
	// knows. Setting it means that the file holds nothing but samples.
	Format   string
	RateHz   float64
	CenterHz float64
}

// Open opens a recording. The path is that of one of the two files of a SigMF
// recording or their common base name, of a SigMF archive, which may be
// compressed by gzip as a whole, of a WAV file with I and Q as its two
// channels, or of a file of bare samples. "-" is standard input, for WAV and
// bare samples.
//
// What the file does not tell must stand in the hints or in its name
// (ParseName), else Open returns a *MissingError. A recording that holds none of its samples is a
// *TruncatedError; one that holds some is told so at its end.
//
// The context is for the headers of a stream only.
func Open(ctx context.Context, path string, h Hints) (*Reader, error) {
	if err := h.check(); err != nil {
		return nil, err
	}
	if path == "-" {
		return NewReader(ctx, "standard input", os.Stdin, h)
	}
	r, err := open(ctx, path, h)
	if err != nil {
		return nil, err
	}
	return settled(ctx, r)
}

// settled returns a reader that knows its full scale.
func settled(ctx context.Context, r *Reader) (*Reader, error) {
	if err := r.settle(ctx); err != nil {
		r.Close()
		return nil, err
	}
	return r, nil
}

func open(ctx context.Context, path string, h Hints) (*Reader, error) {
	if h.Format == "" {
		if base, ok := sigmfBase(path); ok {
			return openPair(base, h)
		}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	r, err := openFile(ctx, path, f, h)
	if err != nil {
		f.Close()
		return nil, err
	}
	return r, nil
}

// NewReader reads a recording from a stream: WAV, or bare samples when the
// hints have a Format. The name stands in error lines. Close closes r when it
// is an io.Closer; a stream that does not end its Read then keeps a goroutine
// and two small buffers until it does.
func NewReader(ctx context.Context, name string, r io.Reader, h Hints) (*Reader, error) {
	if err := h.check(); err != nil {
		return nil, err
	}
	closer, _ := r.(io.Closer)
	s := newStream(r, closer)
	reader, err := openStream(ctx, name, s, h)
	if err != nil {
		s.close()
		return nil, err
	}
	return settled(ctx, reader)
}

func (h Hints) check() error {
	if h.Format != "" {
		if _, err := parseFormat(h.Format); err != nil {
			return err
		}
	}
	if h.RateHz != 0 {
		if err := checkRate(h.RateHz); err != nil {
			return err
		}
	}
	if h.CenterHz != 0 {
		return checkCenter(h.CenterHz)
	}
	return nil
}

// sigmfBase tells whether a path names a SigMF recording of two files, and
// what both their names begin with.
func sigmfBase(path string) (string, bool) {
	for _, ending := range []string{metaEnding, dataEnding} {
		if base, ok := strings.CutSuffix(path, ending); ok {
			return base, true
		}
	}
	if info, err := os.Stat(path); err == nil && !info.IsDir() {
		return "", false
	}
	_, err := os.Stat(path + metaEnding)
	return path, err == nil
}

func openPair(base string, h Hints) (*Reader, error) {
	name := base + metaEnding
	f, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		if _, e := os.Stat(base + dataEnding); e == nil {
			return nil, fmt.Errorf("%s%s has no %s beside it: give --format, --rate and --center to read it without", base, dataEnding, filepath.Base(name))
		}
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	m, err := parseMetadata(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	dataName := base + dataEnding
	if d := m.global.Dataset; d != nil {
		dataName = filepath.Join(filepath.Dir(name), *d)
	}
	data, err := os.Open(dataName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, noDataset(m, name, "there is no "+dataName)
	} else if err != nil {
		return nil, err
	}
	info, err := data.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s: is not a regular file", dataName)
	}
	var r *Reader
	if err == nil {
		r, err = newSigMF(name, m, &fileData{data, info.Size(), data}, h)
	}
	if err != nil {
		data.Close()
		return nil, err
	}
	return r, nil
}

// noDataset explains that metadata have no samples.
func noDataset(m *metadata, name, what string) error {
	if m.global.MetadataOnly != nil && *m.global.MetadataOnly {
		return fmt.Errorf("%s: was given away without its samples (core:metadata_only): nothing can be measured", name)
	}
	return fmt.Errorf("%s: %s, where its samples should be", name, what)
}

// openFile opens what is not a SigMF pair.
func openFile(ctx context.Context, path string, f *os.File, h Hints) (*Reader, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, fmt.Errorf("%s: is a folder, not a recording", path)
	}
	if !info.Mode().IsRegular() {
		return NewReader(ctx, path, f, h)
	}
	data := &fileData{f, info.Size(), f}
	if h.Format != "" {
		return newRaw(path, data, h)
	}
	if info.Size() == 0 {
		return nil, fmt.Errorf("%s: is empty", path)
	}
	head := make([]byte, 512)
	n, err := data.readAt(ctx, head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("reading %s: %w", path, err)
	}
	head = head[:n]
	switch {
	case strings.HasSuffix(path, collectionEnding):
		return nil, fmt.Errorf("%s: is a list of recordings: name one of them", path)
	case isWAV(head):
		return newWAV(ctx, path, data, h)
	case isGzip(head):
		r, err := openPacked(ctx, path, f, h)
		if errors.Is(err, errNotArchive) {
			return nil, compressed(path)
		}
		return r, err
	case isTar(head), strings.HasSuffix(path, archiveEnding):
		m, d, err := openArchive(path, f, f, info.Size())
		if err != nil {
			return nil, err
		}
		return newSigMF(path, m, &fileData{io.NewSectionReader(f, d.offset, d.size), d.size, f}, h)
	}
	// The dataset of a SigMF recording whose samples have a name of their own.
	base := strings.TrimSuffix(path, filepath.Ext(path))
	if _, err := os.Stat(base + metaEnding); err == nil {
		f.Close()
		return openPair(base, h)
	}
	return openBare(path, head, data, h)
}

func openStream(ctx context.Context, name string, s *streamData, h Hints) (*Reader, error) {
	if h.Format != "" {
		return newRaw(name, s, h)
	}
	head, err := s.peek(ctx, 512)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	if isWAV(head) {
		return newWAV(ctx, name, s, h)
	}
	if isTar(head) {
		return nil, fmt.Errorf("%s: a SigMF archive cannot be read as a stream: save it as a file", name)
	}
	return openBare(name, head, s, h)
}

// openBare opens what has no header: bare samples, if its name tells of which
// format, or something that could be anything.
func openBare(path string, head []byte, data dataset, h Hints) (*Reader, error) {
	for _, magic := range []string{"\x1f\x8b", "\xfd7zXZ", "BZh", "PK\x03\x04", "\x28\xb5\x2f\xfd"} {
		if strings.HasPrefix(string(head), magic) {
			return nil, compressed(path)
		}
	}
	if strings.EqualFold(filepath.Ext(path), ".wav") {
		return nil, fmt.Errorf("%s: does not begin as a WAV file does", path)
	}
	told, err := ParseName(path, h)
	if err != nil {
		return nil, err
	}
	if told.Format == "" {
		return nil, &MissingError{path, append([]string{"format"}, told.missing()...)}
	}
	return newRaw(path, data, h)
}

func compressed(path string) error { return fmt.Errorf("%s: is compressed: unpack it first", path) }

func (h Hints) missing() (wants []string) {
	if h.RateHz == 0 {
		wants = append(wants, "rate")
	}
	if h.CenterHz == 0 {
		wants = append(wants, "center")
	}
	return wants
}

// newRaw makes the Reader of bare samples.
func newRaw(path string, data dataset, given Hints) (*Reader, error) {
	if strings.HasSuffix(path, metaEnding) {
		return nil, fmt.Errorf("%s: holds metadata, not samples", path)
	}
	h, err := ParseName(path, given)
	if err != nil {
		return nil, err
	}
	if wants := h.missing(); len(wants) > 0 {
		return nil, &MissingError{path, wants}
	}
	f, err := parseFormat(h.Format)
	if err != nil {
		return nil, err
	}
	count := int64(unknownCount)
	if size := data.size(); size >= 0 {
		// What a broken-off sample left behind the last whole one is no loss.
		if count = size / f.size(); count == 0 {
			return nil, fmt.Errorf("%s: holds no samples", path)
		}
	}
	r := newReader(path, f, data, []span{{
		Span: Span{tuner.Stay{CenterHz: h.CenterHz, RateHz: h.RateHz, GainDB: tuner.UnknownGain()}, count},
	}})
	r.named = h.without(given)
	return r, nil
}

// without returns the hints that others do not have.
func (h Hints) without(o Hints) Hints {
	if o.Format != "" {
		h.Format = ""
	}
	if o.RateHz != 0 {
		h.RateHz = 0
	}
	if o.CenterHz != 0 {
		h.CenterHz = 0
	}
	return h
}
