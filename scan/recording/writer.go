package recording

import (
	"bufio"
	"crypto/rand"
	"crypto/sha512"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"rooftone/scan/tuner"
)

// A Writer makes a SigMF recording. Its files take their names only when Close
// succeeds; until then, and after any error, there is nothing under them.
//
// A gain is written as capture_details:gain, or as rooftone:gain where the
// time that capture_details asks for is not known. Samples that were lost are
// told by rooftone:lost, since core:global_index needs their number.
type Writer struct {
	base    string // path without an ending
	replace bool
	meta    Meta
	enc     encoder

	file     *os.File // of the samples, under a temporary name
	metaTemp string   // "" while there is none
	sum      hash.Hash
	buffer   []byte

	captures []recorded
	samples  int64
	fresh    bool // the next block begins a capture
	lost     bool // samples are missing before the next block
	err      error
}

// Create begins a recording under path, which may have the ending of one of
// its two files or none. It refuses to replace a recording.
func Create(path string, m Meta) (*Writer, error) { return create(path, m, false) }

// Replace is Create for a path where a recording may stand. It stands until
// Close puts the new one in its place.
func Replace(path string, m Meta) (*Writer, error) { return create(path, m, true) }

func create(path string, m Meta, replace bool) (*Writer, error) {
	base := strings.TrimSuffix(strings.TrimSuffix(path, metaEnding), dataEnding)
	switch filepath.Ext(base) {
	case ".wav", archiveEnding, collectionEnding:
		return nil, fmt.Errorf("%s: a recording is written as two files, %s and %s: leave out the ending", path, metaEnding, dataEnding)
	}
	if name := filepath.Base(base); base == "" || strings.HasSuffix(path, string(filepath.Separator)) || name == "." || name == ".." {
		return nil, fmt.Errorf("%q is not a name for a recording", path)
	}
	if err := m.check(); err != nil {
		return nil, fmt.Errorf("recording %s: %w", base, err)
	}
	w := &Writer{base: base, replace: replace, meta: m, enc: encoderFor(m.Datatype), sum: sha512.New(), fresh: true}
	if err := w.checkFree(); err != nil {
		return nil, err
	}
	f, err := w.temporary()
	if err != nil {
		return nil, fmt.Errorf("recording %s: %w", base, err)
	}
	w.file = f
	w.buffer = make([]byte, chunkSamples*w.enc.size)
	return w, nil
}

// checkFree makes sure that nothing would be replaced unasked.
func (w *Writer) checkFree() error {
	for _, ending := range []string{metaEnding, dataEnding} {
		_, err := os.Lstat(w.base + ending)
		switch {
		case err == nil && !w.replace:
			return fmt.Errorf("%s%s: %w", w.base, ending, fs.ErrExist)
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return err
		}
	}
	return nil
}

// temporary makes a file in the recording's folder, so that a rename can
// bring it to its place.
func (w *Writer) temporary() (*os.File, error) {
	name := filepath.Join(filepath.Dir(w.base), ".rooftone-"+rand.Text()[:12]+".part")
	return os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
}

// Names returns the names that Close gives to the two files.
func (w *Writer) Names() (meta, data string) { return w.base + metaEnding, w.base + dataEnding }

// NewCapture makes the next block begin a capture, although its tuning may be
// that of the last.
func (w *Writer) NewCapture() { w.fresh = true }

// WriteBlock appends samples. A capture begins where the tuning changes and
// where samples were lost. The rate must stay the same. After an error nothing
// of the recording is left, and every later call returns that error.
func (w *Writer) WriteBlock(b tuner.Block) error {
	if w.err != nil {
		return w.err
	}
	w.lost = w.lost || b.Lost
	if len(b.Samples) == 0 {
		return nil
	}
	if err := w.begin(b); err != nil {
		return w.fail(err)
	}
	for rest := b.Samples; len(rest) > 0; {
		part := rest[:min(len(rest), chunkSamples)]
		for i, z := range part {
			if !sane(z) {
				return w.fail(fmt.Errorf("sample %d is %v", w.samples+int64(i), z))
			}
		}
		raw := w.buffer[:len(part)*w.enc.size]
		w.enc.encode(raw, part)
		w.sum.Write(raw)
		if _, err := w.file.Write(raw); err != nil {
			return w.fail(err)
		}
		w.samples += int64(len(part))
		rest = rest[len(part):]
	}
	w.captures[len(w.captures)-1].until = w.samples
	return nil
}

// begin begins a capture when the block needs one.
func (w *Writer) begin(b tuner.Block) error {
	stay := tuner.Stay{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB, Start: b.Start}
	if n := len(w.captures); n > 0 {
		last := w.captures[n-1].Stay
		if last.RateHz != b.RateHz {
			return fmt.Errorf("the sample rate changed from %g to %g Hz: a recording has one", last.RateHz, b.RateHz)
		}
		if !w.fresh && !w.lost && sameTuning(last, stay) {
			return nil
		}
		if n >= maxCaptures {
			return fmt.Errorf("a recording has at most %d captures", maxCaptures)
		}
	}
	if err := checkRate(b.RateHz); err != nil {
		return err
	}
	if err := checkCenter(b.CenterHz); err != nil {
		return err
	}
	if math.Abs(b.GainDB) > maxGainDB {
		return fmt.Errorf("a gain of %g dB is absurd", b.GainDB)
	}
	w.captures = append(w.captures, recorded{span: span{Span: Span{Stay: stay}, first: w.samples, lost: w.lost}})
	w.fresh, w.lost = false, false
	return nil
}

// Close finishes the recording: both files go to the disk and then to their
// names, the metadata last. A recording without samples is an error.
func (w *Writer) Close() error {
	if w.err != nil {
		if errors.Is(w.err, fs.ErrClosed) {
			return nil
		}
		return w.err
	}
	if err := w.finish(); err != nil {
		return w.fail(err)
	}
	w.err = fmt.Errorf("recording %s: %w", w.base, fs.ErrClosed)
	return nil
}

func (w *Writer) finish() error {
	if w.samples == 0 {
		return errors.New("no samples came")
	}
	if err := w.file.Sync(); err != nil {
		return err
	}
	if err := w.file.Close(); err != nil {
		return err
	}
	if err := w.writeMeta(); err != nil {
		return err
	}
	if err := w.checkFree(); err != nil {
		return err
	}
	metaName, dataName := w.Names()
	if w.replace {
		// Never old metadata beside new samples.
		if err := os.Remove(metaName); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	if err := os.Rename(w.file.Name(), dataName); err != nil {
		return err
	}
	if err := os.Rename(w.metaTemp, metaName); err != nil {
		return errors.Join(err, os.Remove(dataName))
	}
	syncFolder(filepath.Dir(metaName))
	return nil
}

// syncFolder makes renames lasting. Not every system can, and the files
// themselves are safe without.
func syncFolder(name string) {
	if d, err := os.Open(name); err == nil {
		_ = d.Sync()
		d.Close()
	}
}

// writeMeta writes the metadata under a temporary name.
func (w *Writer) writeMeta() (err error) {
	f, err := w.temporary()
	if err != nil {
		return err
	}
	w.metaTemp = f.Name()
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	out := bufio.NewWriter(f)
	enc := json.NewEncoder(out)
	enc.SetIndent("", "    ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(w.metadata()); err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return err
	}
	return f.Sync()
}

type metadataFile struct {
	Global      globalObject       `json:"global"`
	Captures    []captureObject    `json:"captures"`
	Annotations []annotationObject `json:"annotations"`
}

func (w *Writer) metadata() metadataFile {
	g := w.meta.fields()
	sum, version, rate := hex.EncodeToString(w.sum.Sum(nil)), sigmfVersion, w.captures[0].RateHz
	g.Datatype, g.SampleRate, g.Version, g.SHA512 = &w.enc.name, &rate, &version, &sum
	out := metadataFile{Annotations: []annotationObject{w.meta.whole(w.samples)}}
	details, ours := false, g.ReferenceHz != nil || g.Radio != nil
	for _, c := range w.captures {
		o := w.capture(c)
		details = details || o.DetailsGain != nil
		ours = ours || o.Gain != nil || o.Lost
		out.Captures = append(out.Captures, o)
	}
	if details {
		g.Extensions = append(g.Extensions, extension{"capture_details", "1.0.0", true})
	}
	if ours {
		g.Extensions = append(g.Extensions, extension{ourExtension, ourExtVersion, true})
	}
	out.Global = g
	return out
}

// capture makes a capture's object.
func (w *Writer) capture(c recorded) captureObject {
	first, hz := index(c.first), c.CenterHz
	o := captureObject{SampleStart: &first, Frequency: &hz, Lost: c.lost}
	if !c.Start.IsZero() {
		s := c.Start.UTC().Format(time.RFC3339Nano)
		o.Datetime = &s
	}
	if math.IsNaN(c.GainDB) {
		return o
	}
	gain := c.GainDB
	if c.Start.IsZero() {
		o.Gain = &gain
		return o
	}
	// What the extension asks for beside the gain. Samples are relative to
	// full scale: a scale of 1 and no attenuation are the factors that change
	// nothing, not a calibration.
	scale, attenuation, bandwidth := 1.0, 0.0, c.RateHz
	const seconds = "2006-01-02T15:04:05Z"
	start := c.Start.UTC().Format(seconds)
	stop := after(c.Start, c.until-1-c.first, c.RateHz).UTC().Format(seconds)
	source := filepath.Base(w.base + dataEnding)
	o.DetailsGain, o.DetailsScale, o.DetailsAttenuation = &gain, &scale, &attenuation
	o.DetailsBandwidth, o.DetailsStart, o.DetailsStop, o.DetailsSource = &bandwidth, &start, &stop, &source
	return o
}

// Abort ends the recording and leaves nothing of it. After Close it does
// nothing, so that it can be deferred.
func (w *Writer) Abort() {
	if w.err == nil {
		_ = w.fail(errors.New("was given up"))
	}
}

// fail removes what there is and keeps the error for later calls.
func (w *Writer) fail(err error) error {
	w.err = fmt.Errorf("recording %s: %w", w.base, err)
	w.file.Close()
	os.Remove(w.file.Name())
	if w.metaTemp != "" {
		os.Remove(w.metaTemp)
	}
	return w.err
}
